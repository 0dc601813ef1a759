package bench

import (
	"flaskside/logbook/action"
	"flaskside/logbook/house"
)

// UnderPressure gives the ids of the records that tell a pressure below the one the
// house asked for when they were recorded; none told, or none asked for, is not below.
// Corrected pressures count as corrected, records taken back not at all.
func (b *Bench) UnderPressure() map[string]bool {
	out := map[string]bool{}
	asked := house.Default().Press.PressurePSI
	for i := range b.Items {
		it := &b.Items[i]
		if it.TakenBack != nil {
			continue
		}
		told := 0.0
		switch a := it.Body.(type) {
		case action.Settings:
			asked = a.House.Press.PressurePSI
		case action.PressAt:
			told = a.PressurePSI
		case action.MetalToMetal:
			told = a.PressurePSI
		}
		if told > 0 && told < asked {
			out[it.Action.ID] = true
		}
	}
	return out
}
