package tui

import (
	"strings"

	"charm.land/lipgloss/v2"
	"github.com/charmbracelet/colorprofile"
)

// role says what a piece of the screen means; the theme says how that looks. No
// meaning hangs on colour alone: each role that matters has a word or a shape too.
type role int

const (
	plain      role = iota
	dim             // rules, what can wait
	strong          // what is read first
	accent          // the one accent: names, choices, the next step
	good            // ready, reached
	warn            // soon
	alarm           // now, and not answered
	chosen          // the selected row
	step            // the line to read before pressing
	entry           // what is being typed
	curve           // the flash chart: the trend
	band            // the flash chart: its band
	late            // past its latest
	boxed           // set off by its ground alone: the number of a tile
	bandCurve       // the trend before its band
	bandDim         // a house line before the band
	bandStrong      // a mark before the band
	roles
)

// look is how a role is drawn; "" leaves the terminal's own colour.
type look struct {
	fg, bg                   string
	bold, underline, reverse bool
}

// looks is the palette for a dark or a light background. It keeps a contrast of at
// least 4.5:1 (WCAG 2.2) and tells good, warn and alarm apart by lightness too.
func looks(dark bool) [roles]look {
	ink, dimInk, goodInk, warnInk, alarmPaper, inverse, shade, grain := "#00607a", "#5c5c5c", "#004d28", "#a35600", "#a8122a", "#ffffff", "#d9eaef", "#c6dde4"
	if dark {
		ink, dimInk, goodInk, warnInk, alarmPaper, inverse, shade, grain = "#6fd3e8", "#9a9a9a", "#8fdc8f", "#ffc766", "#ff9d8a", "#000000", "#21343b", "#2e4850"
	}
	return [roles]look{
		dim:    {fg: dimInk},
		strong: {bold: true},
		accent: {fg: ink, bold: true},
		good:   {fg: goodInk, bold: true},
		warn:   {fg: warnInk, bold: true},
		alarm:  {fg: inverse, bg: alarmPaper, bold: true},
		chosen: {fg: ink, bold: true},
		step:   {fg: inverse, bg: ink, bold: true},
		entry:  {bold: true, underline: true},
		curve:  {fg: ink, bold: true},
		band:   {fg: grain, bg: shade},
		late:   {fg: alarmPaper, bold: true},
		boxed:  {bold: true, reverse: true},

		bandCurve:  {fg: ink, bg: shade, bold: true},
		bandDim:    {fg: dimInk, bg: shade},
		bandStrong: {bg: shade, bold: true},
	}
}

// looks16 is the palette for terminals of sixteen colours, by their numbers: only those
// that keep the contrast in the palettes such terminals come with. No green and no grey
// does on white: there the words and signs stand alone.
func looks16(dark bool) [roles]look {
	ls := looks(dark)
	set := func(fg, bg string, rs ...role) {
		for _, r := range rs {
			ls[r].fg, ls[r].bg = fg, bg
		}
	}
	ls[bandStrong].bg = "" // the grounds of sixteen colours are too loud for a shade
	if dark {
		set("7", "", dim, band, bandDim)
		set("14", "", accent, chosen, curve, bandCurve)
		set("10", "", good)
		set("11", "", warn)
		set("0", "9", alarm)
		set("9", "", late)
		set("0", "14", step)
		return ls
	}
	set("", "", dim, band, bandDim, good)
	set("4", "", accent, chosen, curve, bandCurve)
	set("1", "", warn, late)
	set("15", "1", alarm)
	set("15", "4", step)
	return ls
}

// looksBare is for terminals without colours, and for whoever asks for none (NO_COLOR):
// what stands on a ground of its own is reversed.
func looksBare() [roles]look {
	ls := looks(true)
	for _, r := range []role{band, bandCurve, bandDim, bandStrong} {
		ls[r].bg = "" // the sign of the shade is enough
	}
	for r, l := range ls {
		ls[r].reverse = l.reverse || l.bg != ""
		ls[r].fg, ls[r].bg = "", ""
	}
	return ls
}

// theme holds the escape codes of each role, worked out once.
type theme struct{ on, off [roles]string }

// newTheme is for a terminal with the colours of a profile, by its name: "ANSI" has
// sixteen, "Ascii" none, others enough.
func newTheme(dark bool, profile string) *theme {
	t := &theme{}
	ls := looks(dark)
	switch profile {
	case "ANSI":
		ls = looks16(dark)
	case "Ascii":
		ls = looksBare()
	}
	for r, l := range ls {
		s := lipgloss.NewStyle().Bold(l.bold).Underline(l.underline).Reverse(l.reverse)
		if l.fg != "" {
			s = s.Foreground(lipgloss.Color(l.fg))
		}
		if l.bg != "" {
			s = s.Background(lipgloss.Color(l.bg))
		}
		t.on[r], t.off[r], _ = strings.Cut(inColours(s.Render("x"), profile), "x")
	}
	return t
}

// inColours brings what is written in all colours to those of a profile, by its name.
func inColours(s, profile string) string {
	for _, p := range []colorprofile.Profile{colorprofile.NoTTY, colorprofile.ASCII, colorprofile.ANSI, colorprofile.ANSI256} {
		if p.String() == profile {
			var b strings.Builder
			_, _ = (&colorprofile.Writer{Forward: &b, Profile: p}).Write([]byte(s)) // a builder takes all
			return b.String()
		}
	}
	return s
}
