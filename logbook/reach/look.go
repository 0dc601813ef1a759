package reach

import (
	"flaskside/logbook/check"
	"flaskside/logbook/door"
)

// Look looks through the logbook and holds it against the journals beside it; look does it to a
// file, best in a process of its own.
func (at At) Look(ask check.Verifying, look func(file string, ask check.Verifying) (check.Report, error)) (rep check.Report, err error) {
	journals, jerr := check.JournalFiles(at.Path) // before the copy is made, so that they cannot be ahead
	ask.Journals, ask.Beside = journals, at.Path
	file, done := at.Path, func() {}
	if client, err := door.Dial(at.Path); err == nil {
		if file, done, err = client.Copy(); err != nil {
			return rep, err
		}
	} else if !at.Made() {
		return rep, at.nothing()
	}
	defer done()
	if rep, err = look(file, ask); err != nil {
		return rep, err
	}
	if jerr != nil {
		rep.Faults = append(rep.Faults, check.Fault{Kind: check.FaultJournal, What: jerr.Error()})
	}
	return rep, nil
}
