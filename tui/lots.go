package tui

import (
	"strings"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/lot"
	"flaskside/logbook/lot/recall"
)

// askLot asks for a lot, scanned or typed, and looks through the whole book for the
// flasks that had it, beside the screen.
func (m *Model) askLot() tea.Cmd {
	f := &form{title: "which flasks had a lot?", fields: []*field{line("lot", "lot, scanned or typed", "", false)}}
	f.done = func(f *form) tea.Cmd {
		asked, err := lot.Parse(strings.TrimSpace(f.text("lot")), m.now.Wall.Year())
		if err != nil {
			f.note = err.Error()
			return nil
		}
		m.shut()
		return m.lookForLot(asked)
	}
	m.open(f)
	return nil
}

// lookForLot shows the flasks that had a lot.
func (m *Model) lookForLot(asked lot.Lot) tea.Cmd {
	year, loc := m.now.Wall.Year(), m.now.Wall.Location()
	book := m.cfg.Keeper
	return m.lookFor("flaskside lot --which LOT --csv", func(b *strings.Builder) error {
		list, err := recall.Find(book, asked, year, loc)
		if err == nil {
			err = list.Text(b)
		}
		return err
	})
}

// takeInLot asks for a lot that comes into the house; the last day of use only where the
// code does not tell it.
func (m *Model) takeInLot() {
	year := m.now.Wall.Year()
	f := &form{title: "take a lot in", fields: []*field{
		choose("material", "what is it?", action.Materials...),
		line("lot", "lot, scanned or typed", "", false),
		line("expiry", "use until, as 20270430 or 202704; ENTER for none", "", true).upTo(10).only(func(f *form) bool {
			l, err := lot.Parse(strings.TrimSpace(f.text("lot")), year)
			return err != nil || l.Expiry.IsZero()
		}).refusing(func(s string) error { _, err := lot.TypedDate(s); return err }),
		line("product", "product in your own words; ENTER for none", "", true).upTo(60),
	}}
	f.done = func(f *form) tea.Cmd {
		in := action.LotIn{Material: action.Materials[f.choice("material")-1], Lot: strings.TrimSpace(f.text("lot")), Product: strings.TrimSpace(f.text("product"))}
		if t := strings.TrimSpace(f.text("expiry")); t != "" && f.fields[2].when(f) {
			d, _ := lot.TypedDate(t) // held to be a date when it was typed
			in.Expiry = d.String()
		}
		return m.answer(f, in, "", func(logbook.Saved) tea.Cmd { return m.keyLots("") })
	}
	m.open(f)
}

// withdrawLot asks which lot is withdrawn and why; of one that was recalled the flasks
// that had it are shown.
func (m *Model) withdrawLot() {
	var all []bench.KnownLot
	var names []string
	for _, material := range action.Materials {
		held, _ := m.bench().Lots(material)
		for _, k := range held {
			all = append(all, k)
			names = append(names, string(material)+" "+fit(k.Name(), 24))
		}
	}
	other := len(names) + 1
	isOther := func(f *form) bool { return f.choice("which") == other }
	f := &form{title: "take a lot out of use", fields: []*field{
		choose("which", "which?", append(names, "one that is not listed")...),
		choose("material", "what is it?", action.Materials...).only(isOther),
		line("lot", "lot, scanned or typed", "", false).only(isOther),
		choose("reason", "why?", action.Withdrawals...),
	}}
	f.done = func(f *form) tea.Cmd {
		out := action.LotOut{Reason: action.Withdrawals[f.choice("reason")-1]}
		if isOther(f) {
			out.Material, out.Lot = action.Materials[f.choice("material")-1], strings.TrimSpace(f.text("lot"))
		} else {
			k := all[f.choice("which")-1]
			out.Material, out.Lot = k.Material, k.Lot
		}
		return m.answer(f, out, "", func(logbook.Saved) tea.Cmd {
			asked, err := lot.Parse(out.Lot, m.now.Wall.Year())
			if err == nil && out.Reason == recalled {
				return m.lookForLot(asked)
			}
			return m.keyLots("")
		})
	}
	m.open(f)
}

// recalled is the reason for which it matters at once who had a lot.
const recalled = "recalled"

// lotName is a lot of a record as people say it.
func (m *sight) lotName(text string) string {
	if l, err := lot.Parse(text, m.now.Wall.Year()); err == nil && l.Name() != "" {
		return l.Name()
	}
	return text
}
