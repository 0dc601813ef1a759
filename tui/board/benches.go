package board

import (
	"bytes"
	"net/http"
	"strings"

	"flaskside/logbook/mirror/benches"
)

// benches is the page of all benches of the mirror, a line each, in the words of the command.
func (b *Board) benches(w http.ResponseWriter, r *http.Request, theme string) {
	b.send(w, r, func(nonce string) ([]byte, error) {
		all, at, err := b.cfg.Benches()
		rows, beneath := benches.Rows(all, at)
		page := struct {
			frame
			Columns, Beneath []string
			Rows             [][]string
			NoneHeard, Err   string
		}{frame: b.frame(nonce, theme, shown{clock: at.Format(asOf)}), Columns: benches.Columns, Rows: rows, Beneath: beneath, NoneHeard: benches.NoneHeard}
		page.Headline = "all benches · flaskside"
		if err != nil {
			page.Err = strings.Join(strings.Fields(err.Error()), " ")
		}
		var out bytes.Buffer
		err = pages().ExecuteTemplate(&out, "benches", page)
		return out.Bytes(), err
	})
}

// asOf is how the moment is written that a page shows.
const asOf = "Mon 15:04:05"
