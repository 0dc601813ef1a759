package folder

import (
	"os"
	"path/filepath"
	"testing"

	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/mirrortest"
)

func TestTamper(t *testing.T) {
	f := begin(t, filepath.Join(inMemory(t), "mirror"))
	mirrortest.Tamper(t, mirrortest.Tampered{Remote: f, Put: func(s mirror.Stream, parts []mirrortest.Stored) {
		if err := os.RemoveAll(f.dir(s)); err != nil {
			t.Fatal(err)
		}
		for _, p := range parts {
			name := f.file(s, p.First)
			if err := os.MkdirAll(filepath.Dir(name), 0o700); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(name, p.Raw, 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}})
}
