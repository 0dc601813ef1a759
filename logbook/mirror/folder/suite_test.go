package folder

import (
	"path/filepath"
	"testing"

	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/mirrortest"
)

func begin(t testing.TB, path string) *Folder {
	t.Helper()
	f, made, err := Begin(path)
	if err != nil || !made {
		t.Fatal(made, err)
	}
	return f
}

func TestSuite(t *testing.T) {
	mirrortest.Suite(t, func(t *testing.T) (mirror.Remote, func() mirror.Remote) {
		path := filepath.Join(inMemory(t), "mirror")
		p := begin(t, path)
		return p, func() mirror.Remote {
			q, err := Open(path)
			if err != nil {
				t.Fatal(err)
			}
			return q
		}
	})
}
