package logbook

import (
	"errors"
	"fmt"
	"testing"
)

// Wherever a long input is cut off, it is said what is there for certain, never more, and what
// to do.
func TestWordsOfAnInputCutOff(t *testing.T) {
	gone := errors.New("no bench is running on this logbook")
	unknown := fmt.Errorf("%w: EOF", ErrUnknown)
	for _, c := range []struct {
		p    Parted
		want string
	}{
		{Parted{Err: gone}, "nothing was recorded: give the input again: no bench is running on this logbook"},
		{Parted{Recorded: 7, Err: gone}, "the first 7 records of the input are in the logbook: give the whole input again, what is there is not recorded twice: no bench is running on this logbook"},
		{Parted{Err: unknown}, "nobody can say how much of the input is in the logbook: give the whole input again, what is there is not recorded twice: cannot tell whether it was saved: EOF"},
		{Parted{Recorded: 7, Err: unknown}, "the first 7 records of the input are in the logbook, of those after them nobody can say: give the whole input again, what is there is not recorded twice: cannot tell whether it was saved: EOF"},
		{Parted{Recorded: 7, Refused: true, Err: &BadLine{7, gone}}, "the first 7 records of the input are in the logbook: put right what does not fit any more and give the whole input again, what is there is not recorded twice: " + (&BadLine{7, gone}).Error()},
	} {
		if got := c.p.Error(); got != c.want {
			t.Errorf("%+v:\n%s\nwant\n%s", c.p, got, c.want)
		}
	}
}
