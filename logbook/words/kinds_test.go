package words_test

import (
	"testing"

	"flaskside/logbook/action"
	"flaskside/logbook/words"
)

// Every kind of record has words for people.
func TestEveryKindHasWords(t *testing.T) {
	for _, k := range action.Kinds() {
		if !words.KindHasWords(k) {
			t.Errorf("the kind %s has no words", k)
		}
	}
}
