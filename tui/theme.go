package tui

import (
	"image/color"
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
	accent      // the one accent: the selected flask, the next step
	good        // ready, reached
	warn        // soon
	alarm       // now, and not answered
	chosen      // the selected row
	step        // the line to read before pressing
	entry       // what is being typed
	curve       // the flash chart: points and their line
	band        // the flash chart: the forecast
	roles
)

// theme holds the escape codes of each role, worked out once.
type theme struct {
	dark    bool
	on, off [roles]string
}

// newTheme makes the theme for a dark or a light background. The palette keeps a
// contrast of at least 4.5:1 to black and to white (WCAG 2.2) and tells good, warn
// and alarm apart by lightness too.
func newTheme(dark bool) *theme {
	pick := lipgloss.LightDark(dark)
	c := func(light, night string) color.Color { return pick(lipgloss.Color(light), lipgloss.Color(night)) }
	s := lipgloss.NewStyle
	accentC := c("#00607a", "#6fd3e8")
	styles := [roles]lipgloss.Style{
		plain:  s(),
		dim:    s().Foreground(c("#5c5c5c", "#9a9a9a")),
		strong: s().Bold(true),
		accent: s().Foreground(accentC).Bold(true),
		good:   s().Foreground(c("#1b6e2d", "#8fdc8f")).Bold(true),
		warn:   s().Foreground(c("#8a4b00", "#ffc766")).Bold(true),
		alarm:  s().Foreground(c("#ffffff", "#000000")).Background(c("#a8122a", "#ff9d8a")).Bold(true),
		chosen: s().Foreground(accentC).Bold(true),
		step:   s().Foreground(c("#ffffff", "#000000")).Background(accentC).Bold(true),
		entry:  s().Underline(true).Bold(true),
		curve:  s().Foreground(accentC).Bold(true),
		band:   s().Foreground(c("#5c5c5c", "#9a9a9a")),
	}
	t := &theme{dark: dark}
	for r, st := range styles {
		t.on[r], t.off[r], _ = strings.Cut(st.Render("x"), "x")
	}
	return t
}
