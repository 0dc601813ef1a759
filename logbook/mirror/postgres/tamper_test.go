//go:build unix

package postgres

import (
	"context"
	"fmt"
	"strconv"
	"testing"

	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/mirrortest"
)

func TestTamper(t *testing.T) {
	r, name := serve(t)
	ctx := context.Background()
	p, _, err := Begin(ctx, r.at(name), Access{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = p.Close() }()
	mirrortest.Tamper(t, mirrortest.Tampered{Remote: p, Put: func(s mirror.Stream, parts []mirrortest.Stored) {
		if _, err := p.ask(ctx, fmt.Sprintf("delete from %s where book = '%s'", table, s.Book)); err != nil {
			t.Fatal(err)
		}
		for _, k := range parts { // of two of one number the key refuses the second, here it takes the first's place
			_, err := p.send(ctx, "insert into "+table+" (book, generation, first, last, hash, run) values ($1, 1, $2::bigint, $3::bigint, $4, $5)",
				[][]byte{[]byte(s.Book), []byte(strconv.FormatUint(k.First, 10)), []byte(strconv.FormatUint(k.Last, 10)), []byte(k.Hash), k.Raw}, []int16{0, 0, 0, 0, 1}, nil)
			if err != nil {
				t.Fatal(err)
			}
		}
	}})
}
