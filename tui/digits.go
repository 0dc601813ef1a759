package tui

import "strings"

// glyphs are large digits of our own, three columns and five points high, drawn
// with half blocks in three rows. Every cell has width 1 in every terminal.
var glyphs = map[rune][5]string{
	'0': {"###", "# #", "# #", "# #", "###"},
	'1': {" # ", "## ", " # ", " # ", "###"},
	'2': {"###", "  #", "###", "#  ", "###"},
	'3': {"###", "  #", " ##", "  #", "###"},
	'4': {"# #", "# #", "###", "  #", "  #"},
	'5': {"###", "#  ", "###", "  #", "###"},
	'6': {"###", "#  ", "###", "# #", "###"},
	'7': {"###", "  #", " # ", " # ", " # "},
	'8': {"###", "# #", "###", "# #", "###"},
	'9': {"###", "# #", "###", "  #", "###"},
	':': {" ", "#", " ", "#", " "},
	'-': {"   ", "   ", "###", "   ", "   "},
	'+': {"   ", " # ", "###", " # ", "   "},
	'h': {"#  ", "#  ", "###", "# #", "# #"},
	'd': {"  #", "  #", "###", "# #", "###"},
	' ': {" ", " ", " ", " ", " "},
}

// big writes a time in large digits: three rows.
func big(s string) [3]string {
	var px [6]strings.Builder
	for i, r := range s {
		g, ok := glyphs[r]
		if !ok {
			continue
		}
		for row := range 6 {
			if i > 0 {
				px[row].WriteByte(' ')
			}
			if row < 5 {
				px[row].WriteString(g[row])
			} else {
				px[row].WriteString(strings.Repeat(" ", len(g[0])))
			}
		}
	}
	var out [3]string
	for row := range 3 {
		top, low := px[2*row].String(), px[2*row+1].String()
		var b strings.Builder
		for i := range len(top) {
			switch {
			case top[i] == '#' && low[i] == '#':
				b.WriteRune('█')
			case top[i] == '#':
				b.WriteRune('▀')
			case low[i] == '#':
				b.WriteRune('▄')
			default:
				b.WriteByte(' ')
			}
		}
		out[row] = b.String()
	}
	return out
}
