// Package words is what the program says to people: every step, kind of record, stage,
// timer, alarm, hazard, reason and length of time in words, each once. Screens, sheets,
// tables, help and errors ask it, so that the same thing has the same name everywhere.
// It is keyed by the codes that records hold and imports nothing of the program.
//
// The rules of the voice:
//
//   - Write as a colleague at the next bench would say it: short, in the present tense.
//   - The reader acts: "open the press", not "the press is to be opened".
//   - Use the words of the trade, and everyday words for the rest: acknowledge, snooze,
//     undo, book in. One word for one thing.
//   - A number has its unit. A length of time never looks like an hour of the day:
//     "11 min", "2 h 40 min"; "08:30", "Thu 08:30" when it is not today.
//   - What is worked out is called an estimate.
//   - Time alone makes nothing good: say "curing time is up", never that something is
//     cured, dry, safe, done, passed or released.
//   - No joke, no blame, no exclamation.
//   - An error says what is wrong, then what to type.
//   - No codes and no names of fields where a person reads.
package words

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// name looks a code up; one without words of its own is read as it is.
func name[C ~string](table map[string]string, code C) string {
	if w, ok := table[string(code)]; ok {
		return w
	}
	return strings.ReplaceAll(strings.ReplaceAll(string(code), "-", " "), "_", " ")
}

// Clip shortens a stranger's text to so many characters for a line of error. It never
// cuts inside a character.
func Clip(s string, most int) string {
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}

// Quoted puts a stranger's text into quotation marks for a line of error, no more of it
// than a line has room for.
func Quoted[S ~string](s S) string { return strconv.Quote(Clip(string(s), 60)) }

// Plain tells whether all of a text can be shown in a line, as it stands.
func Plain(s string) bool {
	return utf8.ValidString(s) && !strings.ContainsFunc(s, func(r rune) bool {
		return unicode.IsControl(r) || unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp) || r == utf8.RuneError || r >= 0xFE00 && r <= 0xFE0F
	})
}

// Texts are the words of a fixed choice as plain text.
func Texts[T ~string](ts []T) []string {
	out := make([]string, len(ts))
	for i, t := range ts {
		out[i] = string(t)
	}
	return out
}

// Lines breaks a text between words into lines of at most width characters, longer only
// where one word is; those after the first begin with hang blanks.
func Lines(text string, width, hang int) []string {
	var out []string
	var row string
	for _, word := range strings.SplitAfter(text, " ") {
		if strings.TrimSpace(row) != "" && utf8.RuneCountInString(row)+utf8.RuneCountInString(strings.TrimRight(word, " ")) > width {
			out = append(out, strings.TrimRight(row, " "))
			row = strings.Repeat(" ", hang)
		}
		row += word
	}
	return append(out, strings.TrimRight(row, " "))
}

// List joins words with commas and a last "and".
func List(ws []string) string {
	switch n := len(ws); n {
	case 0:
		return ""
	case 1:
		return ws[0]
	default:
		return strings.Join(ws[:n-1], ", ") + " and " + ws[n-1]
	}
}

// Percent rounds a chance for people: never to nothing, never to certainty.
func Percent(p float64) string {
	switch v := math.Round(p * 100); {
	case math.IsNaN(p):
		return "?"
	case v < 1:
		return "<1 %"
	case v > 99:
		return ">99 %"
	default:
		return fmt.Sprintf("%.0f %%", v)
	}
}

// Count is a number of things: "1 line", "3 lines".
func Count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// Clean makes one line of a text that may come from a spoilt file, without what a
// terminal would obey.
func Clean(s string) string {
	out := []rune{}
	for _, r := range s {
		switch {
		case r == '\n':
			out = append(out, ';', ' ')
		case unicode.IsControl(r) || unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp):
		default:
			out = append(out, r)
		}
	}
	return string(out)
}

// MostRefusal is how many characters a refusal may have; the one that lists every act is near it.
const MostRefusal = 600

// Refusal makes the one line of an error that a person is told, whatever it quotes of a stranger's text: no more than a
// line has room for, and what is wrong with it stays to be read.
func Refusal(err error) string {
	long := regexp.MustCompile(`"(?:[^"\\]|\\.)*"|[^\s"]{201,}`)
	s := long.ReplaceAllStringFunc(Clean(err.Error()), func(s string) string {
		end := s[len(s)-1:]
		if end != `"` || len(s) == 1 {
			return Clip(s, 60)
		}
		signs := regexp.MustCompile(`\\(?:x..|u.{4}|U.{8}|.)|.`).FindAllString(s[1:len(s)-1], -1)
		if len(signs) <= 61 { // clipped where it was quoted, it ends with …
			return s
		}
		return `"` + strings.Join(signs[:60], "") + `…"`
	})
	return Clip(s, MostRefusal-1)
}
