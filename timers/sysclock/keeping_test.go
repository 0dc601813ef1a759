package sysclock

import (
	"os"
	"path/filepath"
	"runtime"
	"testing"
)

func TestWallKeeping(t *testing.T) {
	k := WallKeeping()
	if runtime.GOOS == "linux" && !k.Known {
		t.Error("adjtimex(2) tells everybody on Linux")
	}
	if !k.Known && k.Synced || k.Within < 0 {
		t.Errorf("%+v", k)
	}
}

// The first line of tzdata.zi is that of the tz database's own release (from memory:
// "# version 2025b"); +VERSION holds the release alone.
func TestZoneData(t *testing.T) {
	folder := func(files map[string]string) string {
		dir := t.TempDir()
		if err := os.Mkdir(filepath.Join(dir, "Europe"), 0o700); err != nil {
			t.Fatal(err)
		}
		for name, text := range files {
			if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		return dir
	}
	for _, c := range []struct {
		name  string
		files map[string]string
		want  string
	}{
		{"as Debian has it", map[string]string{"tzdata.zi": "# version 2025b\n# This zic input file is in the public domain.\n"}, "2025b"},
		{"as macOS has it", map[string]string{"+VERSION": "2024a\n"}, "2024a"},
		{"without a release", map[string]string{"tzdata.zi": "# redistributed\n"}, ""},
		{"empty", map[string]string{"tzdata.zi": ""}, ""},
		{"nothing", nil, ""},
	} {
		dir := folder(c.files)
		if from, got := zoneData([]string{"", t.TempDir(), dir, "/nowhere"}); from != dir || got != c.want {
			t.Errorf("%s: %q from %q, want %q", c.name, got, from, c.want)
		}
	}
	if from, got := zoneData(nil); from != "the program" || got != "" {
		t.Errorf("no tz database: %q, %q", from, got)
	}
}
