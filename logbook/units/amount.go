package units

// Largest amounts one field at a bench can mean (house defaults).
const (
	maxMassG    = 10000
	maxVolumeML = 10000
	maxLengthMM = 1000
)

// ParseMass reads a mass as typed, grams where no unit is typed, and returns
// grams. It takes g, mg and kg, from 0 to 10 kg.
func ParseMass(s string) (massG float64, err error) {
	return quantity{
		name: "mass", unit: "g", max: maxMassG, example: "22.5 g",
		scales: []scale{
			{names: []string{"g", "gram", "grams"}, factor: 1},
			{names: []string{"mg"}, factor: 1e-3},
			{names: []string{"kg"}, factor: 1e3},
		},
	}.parse(s, "g")
}

// ParseVolume reads a volume as typed, millilitres where no unit is typed, and
// returns millilitres. It takes mL, cc and cm3, which are the same, from 0 to
// 10 L.
func ParseVolume(s string) (volumeML float64, err error) {
	return quantity{
		name: "volume", unit: "mL", max: maxVolumeML, example: "20 mL",
		scales: []scale{{names: []string{"ml", "cc", "ccm", "cm3", "cm³"}, factor: 1}},
	}.parse(s, "ml")
}

// ParseLength reads a length as typed, millimetres where no unit is typed, and
// returns millimetres. It takes mm, cm and in (25.4 mm exactly, NIST SP 811,
// B.8), from 0 to 1 m.
func ParseLength(s string) (lengthMM float64, err error) {
	return quantity{
		name: "length", unit: "mm", max: maxLengthMM, example: "3 mm",
		scales: []scale{
			{names: []string{"mm"}, factor: 1},
			{names: []string{"cm"}, factor: 10},
			{names: []string{"in", "inch", "\""}, factor: 25.4},
		},
	}.parse(s, "mm")
}

// FormatMass shows grams to a tenth, as a bench balance reads ("22.5 g").
func FormatMass(massG float64) string { return trimmed(massG, 1) + " g" }

// FormatVolume shows millilitres to a tenth ("9.4 mL").
func FormatVolume(volumeML float64) string { return trimmed(volumeML, 1) + " mL" }

// FormatLength shows millimetres to a hundredth, as an articulator's pin is
// read ("0.75 mm").
func FormatLength(lengthMM float64) string { return trimmed(lengthMM, 2) + " mm" }
