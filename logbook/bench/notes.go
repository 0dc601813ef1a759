package bench

import (
	"encoding/json"
	"errors"

	"flaskside/logbook/action"
)

// errNoNotes is the answer to words of one's own in a house that takes none.
var errNoNotes = errors.New("this house takes no notes, remarks or reasons in words of your own (take_no_notes in its settings): nothing was recorded; give a reason by its number")

// noNotes refuses words of people's own where the house takes none. Settings are never refused,
// or nobody could change that.
func (b *Bench) noNotes(a action.Action) error {
	if _, settings := a.Body.(action.Settings); settings || !b.House.NoNotes {
		return nil
	}
	raw, err := json.Marshal(a.Body)
	if err == nil && action.OwnWords(a.Kind(), raw, a.Why) {
		err = errNoNotes
	}
	return err
}
