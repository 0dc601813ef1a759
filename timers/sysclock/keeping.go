package sysclock

import (
	"bytes"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"
)

// Keeping says whether something, as NTP does, keeps the wall clock right.
type Keeping struct {
	Known  bool          `json:"known"` // the system tells
	Synced bool          `json:"synced"`
	Within time.Duration `json:"within_ns"` // the system's own bound of the error, where synced
}

// WallKeeping asks the system.
func WallKeeping() Keeping { return wallKeeping() }

// Source names the clock that counts from the boot on, and where the system tells it,
// the counter of the machine behind it; "none" where there is no such clock.
func Source() string { return source() }

// ZoneData tells where the rules of time zones come from, and which release of the tz
// database they are, as 2025b; "" where that is not said.
func ZoneData() (from, release string) {
	if runtime.GOOS == "windows" { // there is no tz database in the system
		return "the program", ""
	}
	return zoneData(append([]string{os.Getenv("ZONEINFO")}, zoneFolders...))
}

// zoneFolders are where Go looks for the tz database (package time, zoneinfo_unix.go).
var zoneFolders = []string{"/usr/share/zoneinfo", "/usr/share/lib/zoneinfo", "/usr/lib/locale/TZ", "/etc/zoneinfo"}

func zoneData(folders []string) (from, release string) {
	for _, dir := range folders {
		if dir == "" {
			continue
		}
		if _, err := os.Stat(filepath.Join(dir, "Europe")); err != nil {
			continue // the folder may be there with nothing in it but a link or two
		}
		return dir, zoneRelease(dir)
	}
	return "the program", ""
}

// zoneRelease reads the release of a tz database: the file +VERSION of the BSDs and
// macOS, or the first line of tzdata.zi, "# version 2025b" (zic(8)).
func zoneRelease(dir string) string {
	if b, err := os.ReadFile(filepath.Join(dir, "+VERSION")); err == nil {
		return strings.TrimSpace(string(b))
	}
	f, err := os.Open(filepath.Join(dir, "tzdata.zi"))
	if err != nil {
		return ""
	}
	defer func() { _ = f.Close() }() // only read from
	b := make([]byte, 80)
	n, _ := f.Read(b)
	line, _, _ := bytes.Cut(b[:n], []byte("\n"))
	release, ok := strings.CutPrefix(string(line), "# version ")
	if !ok {
		return ""
	}
	return strings.TrimSpace(release)
}
