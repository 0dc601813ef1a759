package people

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"sync"

	"flaskside/logbook/disk"
	"flaskside/timers/sysclock"
)

// TokenPath is where the token of the wall board of a book is: whoever knows it sees the bench.
func TokenPath(bookPath string) string { return bookPath + ".board" }

// isToken tells whether a text looks like a token: letters and digits, too many to be guessed.
func isToken(s string) bool {
	return len(s) >= 26 && len(s) <= 64 && strings.Trim(s, "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567") == ""
}

// Token reads the token of the wall board; "" where none was made. The file must be ours alone
// to read.
func Token(path string) (string, error) {
	fi, err := os.Lstat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	if err == nil {
		err = private(path, fi)
	}
	if err == nil && modesMean && fi.Mode().Perm()&0o077 != 0 {
		err = fmt.Errorf("%s can be read by others: chmod 600 %s", path, path)
	}
	if err != nil {
		return "", fmt.Errorf("the token of the board: %w", err)
	}
	f, err := disk.OpenSource(path)
	if err != nil {
		return "", fmt.Errorf("the token of the board: %w", err)
	}
	defer func() { _ = f.Close() }() // only read from
	text, err := readAll(f)
	if err != nil {
		return "", fmt.Errorf("the token of the board: %w", err)
	}
	if text = strings.TrimSpace(text); !isToken(text) {
		return "", fmt.Errorf("the token of the board in %s is none: flaskside board --new makes another", path)
	}
	return text, nil
}

// NewToken makes a token in the place of the one before, which holds no more.
func NewToken(path string) (string, error) {
	token := rand.Text()
	return token, write(path, []string{token})
}

// Held is the token as its file has it.
type Held struct {
	mu    sync.Mutex
	token string
}

// Hold reads a token to be followed. There must be one.
func Hold(path string) (*Held, error) {
	token, err := Token(path)
	if err == nil && token == "" {
		err = errors.New("--board lets nobody look without a token: flaskside board --new makes one")
	}
	return &Held{token: token}, err
}

// Get gives the token; "" where it cannot be read, and nobody is let in.
func (h *Held) Get() string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.token
}

// Follow takes what the file has from then on, until ctx ends; what is wrong with it is told.
func (h *Held) Follow(ctx context.Context, path string, trouble func(error)) {
	said := ""
	sysclock.Every(ctx, lookEvery, func() {
		token, err := Token(path)
		h.mu.Lock()
		h.token = token
		h.mu.Unlock()
		if err != nil && err.Error() != said {
			said = err.Error()
			trouble(err)
		}
	})
}
