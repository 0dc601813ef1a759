package seal

import (
	"crypto/ed25519"
	"crypto/rand"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"

	"golang.org/x/crypto/ssh"
	"golang.org/x/mod/sumdb/note"

	"flaskside/logbook/disk"
)

// maxKeyFile is the largest key file read, in bytes.
const maxKeyFile = 64 << 10

// Key is a laboratory's private key.
type Key struct {
	private  ed25519.PrivateKey
	verifier note.Verifier
	public   string
}

// Public is the key that others check seals with, one line.
func (k Key) Public() string { return k.public }

func keyOf(private ed25519.PrivateKey) (Key, error) {
	pub, ok := private.Public().(ed25519.PublicKey)
	if !ok || len(private) != ed25519.PrivateKeySize {
		return Key{}, errors.New("this is not an ed25519 key")
	}
	text, v, err := verifierOf(pub)
	if err != nil {
		return Key{}, err
	}
	return Key{private, v, text}, nil
}

// load reads a private key: an OpenSSH ed25519 key without a passphrase, in a file
// that nobody else may read.
func load(path string) (Key, error) {
	f, err := os.Open(path)
	if err != nil {
		return Key{}, fmt.Errorf("read the key: %w", err)
	}
	defer func() { _ = f.Close() }() // only read from
	fi, err := f.Stat()
	if err != nil {
		return Key{}, fmt.Errorf("read the key: %w", err)
	}
	if runtime.GOOS != "windows" && fi.Mode().Perm()&0o077 != 0 {
		return Key{}, fmt.Errorf("others may read the key %s: take the right away (chmod 600) and treat the key as known to others", path)
	}
	b, err := io.ReadAll(io.LimitReader(f, maxKeyFile))
	if err != nil {
		return Key{}, fmt.Errorf("read the key: %w", err)
	}
	k, err := parseKey(b)
	if err != nil {
		return Key{}, fmt.Errorf("key %s: %w", path, err)
	}
	return k, nil
}

func parseKey(b []byte) (Key, error) {
	raw, err := ssh.ParseRawPrivateKey(b)
	var locked *ssh.PassphraseMissingError
	switch {
	case errors.As(err, &locked):
		return Key{}, errors.New("it is locked with a passphrase, which nobody is asked for here: use a key of its own for sealing")
	case err != nil:
		return Key{}, errors.New("it is not a private key as OpenSSH writes it")
	}
	switch p := raw.(type) {
	case *ed25519.PrivateKey:
		return keyOf(*p)
	case ed25519.PrivateKey:
		return keyOf(p)
	}
	return Key{}, errors.New("it is not an ed25519 key: make one with ssh-keygen -t ed25519, or leave --key out")
}

// LoadOrMake reads the key at path and makes one, for its owner alone, where there
// is none; made says so.
func LoadOrMake(path string) (k Key, made bool, err error) {
	if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
		k, err := load(path)
		return k, false, err
	}
	_, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return Key{}, false, fmt.Errorf("make a key: %w", err)
	}
	block, err := ssh.MarshalPrivateKey(private, "seals of a flaskside logbook")
	if err != nil {
		return Key{}, false, fmt.Errorf("make a key: %w", err)
	}
	if made, err = place(path, pem.EncodeToMemory(block)); err != nil {
		return Key{}, false, fmt.Errorf("make the key %s: %w", path, err)
	}
	k, err = load(path)
	return k, made, err
}

// place writes a file of its owner alone, whole or not at all, and never over
// another: placed is false where somebody was faster.
func place(path string, b []byte) (placed bool, err error) {
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return false, err
	}
	f, err := os.CreateTemp(dir, ".key-*") // mode 0600
	if err != nil {
		return false, err
	}
	defer func() { _ = os.Remove(f.Name()) }() // a second name of the file, or of none
	if err := disk.Finish(f, disk.Bytes(b)); err != nil {
		return false, err
	}
	switch err := os.Link(f.Name(), path); {
	case err == nil:
		return true, nil
	case errors.Is(err, fs.ErrExist):
		return false, nil
	}
	return true, os.Rename(f.Name(), path) // a file system without links
}
