package tui

import "strings"

// A face is a set of large glyphs of our own. Its points are drawn with half blocks,
// so that every cell has width 1 in every terminal: at scale 1 a point is one column
// wide and half a row high, about a square.
type face struct {
	high   int // points from foot to head of a glyph
	glyphs map[rune][]string
}

// small is three points wide and five high: what fits where there is little room.
var small = face{5, cut(5, `
0 ###|# #|# #|# #|###
1  # |## | # | # |###
2 ###|  #|###|#  |###
3 ###|  #| ##|  #|###
4 # #|# #|###|  #|  #
5 ###|#  |###|  #|###
6 ###|#  |###|# #|###
7 ###|  #| # | # | # 
8 ###|# #|###|# #|###
9 ###|# #|###|  #|###
: | |#| |#| 
- |   |   |###|   |   
+ |   | # |###| # |   
! |#|#|#| |#
? ###|  #| ##|   | # 
A ###|# #|###|# #|# #
B ## |# #|## |# #|## 
C ###|#  |#  |#  |###
D ## |# #|# #|# #|## 
E ###|#  |## |#  |###
G ###|#  |# #|# #|###
H # #|# #|###|# #|# #
I #|#|#|#|#
J   #|  #|  #|# #|###
K # #|# #|## |# #|# #
L #  |#  |#  |#  |###
M #   #|## ##|# # #|#   #|#   #
N #  #|## #|# ##|#  #|#  #
O ###|# #|# #|# #|###
P ###|# #|###|#  |#  
R ###|# #|## |# #|# #
S ###|#  |###|  #|###
T ###| # | # | # | # 
U # #|# #|# #|# #|###
V # #|# #|# #|# #| # 
W #   #|#   #|# # #|## ##|#   #
X # #|# #| # |# #|# #
Y # #|# #| # | # | # 
h #  |#  |###|# #|# #
d   #|  #|###|# #|###
`)}

// large is five points wide and seven high, the least that ISO 9241-3 asks of digits
// and capitals that must be told apart by themselves.
var large = face{7, cut(7, `
0  ### |#   #|#   #|#   #|#   #|#   #| ### 
1   #  | ##  |  #  |  #  |  #  |  #  | ### 
2  ### |#   #|    #|   # |  #  | #   |#####
3  ### |#   #|    #|  ## |    #|#   #| ### 
4    # |  ## | # # |#  # |#####|   # |   # 
5 #####|#    |#### |    #|    #|#   #| ### 
6  ### |#    |#    |#### |#   #|#   #| ### 
7 #####|    #|   # |  #  |  #  | #   | #   
8  ### |#   #|#   #| ### |#   #|#   #| ### 
9  ### |#   #|#   #| ####|    #|    #| ### 
: | | |#| | |#| 
- |    |    |    |####|    |    |    
+ |     |  #  |  #  |#####|  #  |  #  |     
! |#|#|#|#|#| |#
?  ### |#   #|    #|  ## |  #  |     |  #  
A  ### |#   #|#   #|#####|#   #|#   #|#   #
B #### |#   #|#   #|#### |#   #|#   #|#### 
C  ### |#   #|#    |#    |#    |#   #| ### 
D #### |#   #|#   #|#   #|#   #|#   #|#### 
E #####|#    |#    |#### |#    |#    |#####
G  ### |#   #|#    |#  ##|#   #|#   #| ### 
H #   #|#   #|#   #|#####|#   #|#   #|#   #
I ###| # | # | # | # | # |###
J   ###|   # |   # |   # |   # |#  # | ##  
K #   #|#  # |# #  |##   |# #  |#  # |#   #
L #    |#    |#    |#    |#    |#    |#####
M #   #|## ##|# # #|# # #|#   #|#   #|#   #
N #   #|##  #|# # #|#  ##|#   #|#   #|#   #
O  ### |#   #|#   #|#   #|#   #|#   #| ### 
P #### |#   #|#   #|#### |#    |#    |#    
R #### |#   #|#   #|#### |# #  |#  # |#   #
S  ####|#    |#    | ### |    #|    #|#### 
T #####|  #  |  #  |  #  |  #  |  #  |  #  
U #   #|#   #|#   #|#   #|#   #|#   #| ### 
V #   #|#   #|#   #|#   #|#   #| # # |  #  
W #   #|#   #|#   #|# # #|# # #|## ##|#   #
X #   #|#   #| # # |  #  | # # |#   #|#   #
Y #   #|#   #| # # |  #  |  #  |  #  |  #  
h #    |#    |#    |#### |#   #|#   #|#   #
d     #|    #|    #| ####|#   #|#   #| ####
`)}

// cut takes a table of glyphs apart: the character, a space, its rows from the head
// down. A row may begin with a bar, where its own first point is not set.
func cut(high int, table string) map[rune][]string {
	out := map[rune][]string{' ': make([]string, high)}
	for i := range high {
		out[' '][i] = " "
	}
	for _, l := range strings.Split(strings.Trim(table, "\n"), "\n") {
		out[rune(l[0])] = strings.Split(strings.TrimPrefix(l[2:], "|"), "|")
	}
	return out
}

// lettering is a face at a scale.
type lettering struct {
	face
	scale int
}

// letterings from the highest down.
var letterings = []lettering{{large, 4}, {large, 3}, {large, 2}, {small, 2}, {large, 1}, {small, 1}}

// rows is how many rows of cells a line takes.
func (l lettering) rows() int { return (l.high*l.scale + 1) / 2 }

// width is how many columns a text takes; what has no glyph takes none.
func (l lettering) width(s string) int {
	n := 0
	for _, r := range s {
		if g, ok := l.glyphs[r]; ok {
			n += len(g[0]) + 1
		}
	}
	return max(0, n-1) * l.scale
}

// write gives the rows of a text.
func (l lettering) write(s string) []string {
	points := make([]string, 2*l.rows())
	for y := range points {
		var b strings.Builder
		for _, r := range s {
			g, ok := l.glyphs[r]
			if !ok {
				continue
			}
			row := strings.Repeat(" ", len(g[0]))
			if y/l.scale < l.high {
				row = g[y/l.scale]
			}
			if b.Len() > 0 {
				row = " " + row
			}
			for _, c := range row {
				b.WriteString(strings.Repeat(string(c), l.scale))
			}
		}
		points[y] = b.String()
	}
	out := make([]string, l.rows())
	for row := range out {
		top, low := points[2*row], points[2*row+1]
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
