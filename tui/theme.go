package tui

import (
	"strings"

	"charm.land/lipgloss/v2"
)

// role says what a piece of the screen means; the theme says how that looks. No
// meaning hangs on colour alone: each role that matters has a word or a shape too.
type role int

const (
	plain  role = iota
	dim         // rules, what can wait
	strong      // what is read first
	accent      // the one accent: names, choices, the next step
	good        // ready, reached
	warn        // soon
	alarm       // now, and not answered
	chosen      // the selected row
	step        // the line to read before pressing
	entry       // what is being typed
	curve       // the flash chart: the trend
	band        // the flash chart: its band
	roles
)

// look is how a role is drawn; "" leaves the terminal's own colour.
type look struct {
	fg, bg          string
	bold, underline bool
}

// looks is the palette for a dark or a light background. It keeps a contrast of at
// least 4.5:1 (WCAG 2.2) and tells good, warn and alarm apart by lightness too.
func looks(dark bool) [roles]look {
	ink, dimInk, goodInk, warnInk, alarmPaper, inverse := "#00607a", "#5c5c5c", "#004d28", "#a35600", "#a8122a", "#ffffff"
	if dark {
		ink, dimInk, goodInk, warnInk, alarmPaper, inverse = "#6fd3e8", "#9a9a9a", "#8fdc8f", "#ffc766", "#ff9d8a", "#000000"
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
		band:   {fg: dimInk},
	}
}

// theme holds the escape codes of each role, worked out once.
type theme struct{ on, off [roles]string }

func newTheme(dark bool) *theme {
	t := &theme{}
	for r, l := range looks(dark) {
		s := lipgloss.NewStyle().Bold(l.bold).Underline(l.underline)
		if l.fg != "" {
			s = s.Foreground(lipgloss.Color(l.fg))
		}
		if l.bg != "" {
			s = s.Background(lipgloss.Color(l.bg))
		}
		t.on[r], t.off[r], _ = strings.Cut(s.Render("x"), "x")
	}
	return t
}
