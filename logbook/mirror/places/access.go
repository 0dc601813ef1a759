package places

import (
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"strings"

	"flaskside/logbook/mirror/jetstream"
)

// What opens a server comes from the environment or from a file that it names; a logbook never
// holds it.
const (
	envFile     = "FLASKSIDE_MIRROR_CREDENTIALS"
	envUser     = "FLASKSIDE_MIRROR_USER"
	envPassword = "FLASKSIDE_MIRROR_PASSWORD"
	envCA       = "FLASKSIDE_MIRROR_CA"
)

// longestSecret is far more than any file of credentials has.
const longestSecret = 64 << 10

// access gathers it. No error repeats what a file holds.
func access() (a jetstream.Access, err error) {
	if path := os.Getenv(envCA); path != "" {
		if a.RootsPEM, err = small(path); err != nil {
			return a, fmt.Errorf("%s: %w", envCA, err)
		}
	}
	path := os.Getenv(envFile)
	if path == "" {
		a.User, a.Password = os.Getenv(envUser), os.Getenv(envPassword)
		return a, nil
	}
	if fi, err := os.Stat(path); err == nil && runtime.GOOS != "windows" && fi.Mode().Perm()&0o077 != 0 { // there access lists decide
		return a, fmt.Errorf("%s: others may read %s: chmod 600 it first", envFile, path)
	}
	b, err := small(path)
	if err != nil {
		return a, fmt.Errorf("%s: %w", envFile, err)
	}
	text := strings.TrimSpace(string(b))
	if strings.Contains(text, "-----BEGIN NATS USER JWT-----") {
		a.CredsFile = path
		return a, nil
	}
	if text == "" || strings.ContainsAny(text, "\n\r") {
		return a, fmt.Errorf("%s: %s holds neither the credentials of an account nor one line with USER:PASSWORD or a token", envFile, path)
	}
	if user, password, two := strings.Cut(text, ":"); two {
		a.User, a.Password = user, password
		return a, nil
	}
	a.Token = text
	return a, nil
}

func small(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer func() { _ = f.Close() }() // only read from
	b, err := io.ReadAll(io.LimitReader(f, longestSecret+1))
	if err == nil && len(b) > longestSecret {
		err = errors.New("the file is too long to be one of credentials")
	}
	return b, err
}
