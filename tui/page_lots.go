package tui

import (
	"fmt"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/timers"
)

// drawLots is the page of the register: what is in the house, of each material, and what
// was withdrawn.
func (m *Model) drawLots(f *frame, a area) {
	var s sheet
	s.add(strong, "lots in the house")
	n := 0
	for _, material := range action.Materials {
		held, withdrawn := m.bench().Lots(material)
		if len(held)+len(withdrawn) == 0 {
			continue
		}
		n++
		s.gap()
		s.add(dim, material)
		for _, k := range held {
			words, r := "", plain
			if !k.Expiry.IsZero() {
				words = "use until " + k.Expiry.String()
			}
			if k.Expired(m.now.Wall) {
				words, r = "EXPIRED "+k.Expiry.String(), alarm
			}
			s.add(r, strings.TrimRight(fmt.Sprintf("%-20s %-22s in %s %-4s %s", fit(k.Name(), 20), words, m.dayOf(k.In), k.InBy, k.Product), " "))
		}
		for _, k := range withdrawn {
			s.add(warn, fmt.Sprintf("%-20s WITHDRAWN %s %s: %s", fit(k.Name(), 20), m.dayOf(k.Out), k.OutBy, k.Reason))
		}
	}
	if n == 0 {
		s.add(plain, "no lot was taken in yet: + takes one in")
		s.gap()
		s.wrapped(dim, "Once lots of a material are taken in, one that was not, that was withdrawn or that has expired is asked about. Nothing is blocked.", a.w-2)
	}
	s.draw(f, a, m.scroll)
}

// dayOf writes the day of a stamp.
func (m *Model) dayOf(s *timers.Stamp) string {
	if s == nil {
		return "-"
	}
	return s.At.In(m.now.Wall.Location()).Format(time.DateOnly)
}

// drawLot is the page of a lot.
func (m *Model) drawLot(f *frame, a area) {
	var s sheet
	for _, l := range strings.Split(strings.TrimRight(m.lot, "\n"), "\n") {
		s.add(plain, l)
	}
	s.gap()
	s.add(dim, "as a recall list: flaskside lot --which LOT --csv")
	s.draw(f, a, m.scroll)
}
