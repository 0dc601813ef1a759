package reach

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
)

// Usual is where the logbook lies when none is named: bench.db in the user's data folder.
func Usual() (string, error) {
	home, err := os.UserHomeDir()
	if err != nil {
		home = ""
	}
	dir := ""
	switch runtime.GOOS {
	case "windows":
		dir = os.Getenv("LocalAppData")
	case "darwin":
		if home != "" {
			dir = filepath.Join(home, "Library", "Application Support")
		}
	default:
		if dir = os.Getenv("XDG_DATA_HOME"); !filepath.IsAbs(dir) {
			dir = ""
			if home != "" {
				dir = filepath.Join(home, ".local", "share")
			}
		}
	}
	if dir == "" {
		return "", errors.New("no data folder is known on this machine: name the logbook with --book FILE")
	}
	return filepath.Join(dir, "flaskside", "bench.db"), nil
}
