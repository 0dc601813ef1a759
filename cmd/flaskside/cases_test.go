package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A dry run says of a table what taking it in would say: also of a list that its own rows
// fill up.
func TestDryRunSaysWhatTakingInSays(t *testing.T) {
	dir := t.TempDir()
	book, table := filepath.Join(dir, "bench.db"), filepath.Join(dir, "many.csv")
	rows := []string{"case,base,size,due"}
	for i := range 501 {
		rows = append(rows, fmt.Sprintf("%d,upper,small,2099-11-30 12:00", 1000+i))
	}
	write := func(n int) {
		t.Helper()
		if err := os.WriteFile(table, []byte(strings.Join(rows[:n+1], "\n")+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		n    int
		says string
	}{{500, ""}, {501, "line 502: there are 500 cases on the list"}} {
		write(c.n)
		for _, more := range [][]string{{"--dry-run"}, nil} {
			_, side, err := says(t, context.Background(), append([]string{"--book", book, "--by", "KT", "case", "in", "--csv", table}, more...)...)
			if c.says == "" && err != nil || c.says != "" && (err == nil || !strings.Contains(side+err.Error(), c.says)) {
				t.Errorf("%d rows, %v: %v, %s", c.n, more, err, side)
			}
		}
		if err := os.RemoveAll(book); err != nil {
			t.Fatal(err)
		}
	}
}
