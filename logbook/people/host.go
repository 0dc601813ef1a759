package people

import (
	"crypto/ed25519"
	"crypto/rand"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"golang.org/x/crypto/ssh"

	"flaskside/logbook/disk"
)

// HostPath is where the key is by which the bench of a book is known to those who come.
func HostPath(bookPath string) string { return bookPath + ".hostkey" }

// HostKey gives the key by which the bench is known, and its fingerprint. It is made once, and
// must be ours alone to read.
func HostKey(path string) (key []byte, fingerprint string, err error) {
	fi, err := os.Lstat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if key, err = newHostKey(path); err != nil {
			return nil, "", fmt.Errorf("make the key of the bench: %w", err)
		}
	case err == nil:
		if err = private(path, fi); err == nil && modesMean && fi.Mode().Perm()&0o077 != 0 {
			err = fmt.Errorf("%s can be read by others: chmod 600 %s", path, path)
		}
		if err == nil {
			key, err = readHostKey(path)
		}
		if err != nil {
			return nil, "", fmt.Errorf("the key of the bench: %w", err)
		}
	default:
		return nil, "", err
	}
	signer, err := ssh.ParsePrivateKey(key)
	if err != nil {
		return nil, "", fmt.Errorf("the key of the bench in %s cannot be read: move it away, and a new one is made", path)
	}
	return key, ssh.FingerprintSHA256(signer.PublicKey()), nil
}

func readHostKey(path string) ([]byte, error) {
	f, err := disk.OpenSource(path)
	if err != nil {
		return nil, err
	}
	defer func() { _ = f.Close() }() // only read from
	text, err := readAll(f)
	return []byte(text), err
}

func newHostKey(path string) ([]byte, error) {
	_, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return nil, err
	}
	block, err := ssh.MarshalPrivateKey(private, "flaskside")
	if err != nil {
		return nil, err
	}
	key := pem.EncodeToMemory(block)
	f, err := disk.CreateOwn(path)
	if err != nil {
		return nil, err
	}
	return key, disk.Finish(f, disk.Bytes(key))
}

func readAll(r io.Reader) (string, error) {
	b, err := io.ReadAll(io.LimitReader(r, maxFile+1))
	if err == nil && len(b) > maxFile {
		err = fmt.Errorf("it is larger than %d KiB", maxFile>>10)
	}
	return string(b), err
}
