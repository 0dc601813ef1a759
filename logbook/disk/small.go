package disk

import (
	"io"
	"os"
)

// ReadSmall reads a file that holds a few bytes: a sensor's value, a key, a seal. Of a
// longer one it gives the first 1024.
func ReadSmall(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	b, err := io.ReadAll(io.LimitReader(f, 1024))
	_ = f.Close() // only read from
	return string(b), err
}
