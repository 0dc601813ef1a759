// Package seal signs the head of a logbook with the laboratory's own ed25519 key
// and checks such a seal.
//
// A seal is a signed note (C2SP signed-note, written and opened by
// golang.org/x/mod/sumdb/note). Its text has the shape of a C2SP checkpoint, but
// the hash is that of the last record of a chain, not the root of a tree, and the
// first line says so:
//
//	flaskside chain head of book 5XW2…
//	48213
//	nzoAEaq7zN0…=
//	2026-11-25T14:07:32+01:00
//
//	— flaskside mC2hW…
//
// The lines are the book, the number of its last record, the hash of that record in
// base64, and when it was sealed by the clock of the machine.
package seal

import (
	"crypto/ed25519"
	"encoding/base64"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"golang.org/x/crypto/ssh"
	"golang.org/x/mod/sumdb/note"

	"flaskside/logbook/asked"
	"flaskside/logbook/check"
	"flaskside/logbook/disk"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
	"flaskside/logbook/words"
)

// keyName is the name that the key goes by in a note.
const keyName = "flaskside"

// origin begins the first line of a seal.
const origin = "flaskside chain head of book "

// maxSize is the longest seal read, in bytes; an honest one has about 300.
const maxSize = 4 << 10

// Head is what is sealed: the end of a chain.
type Head struct {
	Book string // identity of the book
	Seq  uint64 // number of its last record
	Hash record.Hash
	At   time.Time // when it was sealed, by the clock of the machine; whole seconds
}

// Name is what a person calls a seal.
func (h Head) Name() string {
	return fmt.Sprintf("seal of %s on head %s", h.At.Format("2006-01-02 15:04:05 -07:00"), layout.Head{Seq: h.Seq, Hash: h.Hash})
}

// text is the signed part of a note.
func (h Head) text() string {
	return fmt.Sprintf("%s%s\n%d\n%s\n%s\n", origin, h.Book, h.Seq, base64.StdEncoding.EncodeToString(h.Hash[:]), h.At.Format(time.RFC3339))
}

// parse reads the signed part and takes only what text writes.
func parse(text string) (Head, error) {
	bad := errors.New("this is not a seal of a logbook: it has four lines, book, number, hash and time")
	lines := strings.Split(text, "\n")
	if len(lines) != 5 {
		return Head{}, bad
	}
	book, ok := strings.CutPrefix(lines[0], origin)
	if !ok || !utf8.ValidString(book) || strings.ContainsFunc(book, func(r rune) bool { return r < ' ' }) { // a note is UTF-8 and holds no control characters
		return Head{}, bad
	}
	seq, err := strconv.ParseUint(lines[1], 10, 64)
	if err != nil {
		return Head{}, bad
	}
	hash, err := base64.StdEncoding.DecodeString(lines[2])
	if err != nil || len(hash) != len(record.Hash{}) {
		return Head{}, bad
	}
	at, err := time.Parse(time.RFC3339, lines[3])
	if err != nil {
		return Head{}, bad
	}
	h := Head{Book: book, Seq: seq, Hash: record.Hash(hash), At: at}
	if h.text() != text {
		return Head{}, bad
	}
	return h, nil
}

// Sign seals a head.
func (k Key) Sign(h Head) ([]byte, error) {
	if _, err := parse(h.text()); err != nil {
		return nil, fmt.Errorf("seal the head: book %q, record %d, %s cannot be written down", h.Book, h.Seq, h.At)
	}
	out, err := note.Sign(&note.Note{Text: h.text()}, signer{k.verifier, k.private})
	if err != nil {
		return nil, fmt.Errorf("seal the head: %w", err)
	}
	return out, nil
}

// signer is a key as the note package wants it.
type signer struct {
	note.Verifier
	private ed25519.PrivateKey
}

// Sign signs the text of a note.
func (s signer) Sign(msg []byte) ([]byte, error) { return ed25519.Sign(s.private, msg), nil }

// publicKey checks seals.
type publicKey struct{ verifier note.Verifier }

// Open checks a seal and gives what it seals.
func (k publicKey) Open(sealed []byte) (Head, error) {
	if len(sealed) > maxSize {
		return Head{}, fmt.Errorf("this is not a seal: it has more than %d bytes", maxSize)
	}
	n, err := note.Open(sealed, note.VerifierList(k.verifier))
	var unverified *note.UnverifiedNoteError
	var invalid *note.InvalidSignatureError
	switch {
	case errors.As(err, &unverified):
		return Head{}, errors.New("the seal was made with another key than the one given")
	case errors.As(err, &invalid):
		return Head{}, errors.New("the seal was changed: its signature does not fit its text")
	case err != nil:
		return Head{}, errors.New("this is not a seal: it is not a signed note")
	}
	return parse(n.Text)
}

// parsePublic reads a public key as [Key.Public] gives it, or as OpenSSH writes one
// ("ssh-ed25519 AAAA… comment").
func parsePublic(text string) (publicKey, error) {
	text = strings.TrimSpace(text)
	if strings.HasPrefix(text, ssh.KeyAlgoED25519+" ") {
		key, _, _, _, err := ssh.ParseAuthorizedKey([]byte(text))
		if err != nil {
			return publicKey{}, fmt.Errorf("the public key cannot be read: %w", err)
		}
		if ck, ok := key.(ssh.CryptoPublicKey); ok {
			if pub, ok := ck.CryptoPublicKey().(ed25519.PublicKey); ok {
				_, v, err := verifierOf(pub)
				return publicKey{v}, err
			}
		}
		return publicKey{}, errors.New("the public key is not an ed25519 key")
	}
	v, err := note.NewVerifier(text)
	if err != nil {
		return publicKey{}, fmt.Errorf("%q is not a public key: give the line that flaskside seal printed, or an OpenSSH ed25519 public key", words.Clip(text, 60))
	}
	return publicKey{v}, nil
}

// verifierOf gives the key of a note, as text and as what checks.
func verifierOf(pub ed25519.PublicKey) (string, note.Verifier, error) {
	text, err := note.NewEd25519VerifierKey(keyName, pub)
	if err != nil {
		return "", nil, fmt.Errorf("public key: %w", err)
	}
	v, err := note.NewVerifier(text)
	if err != nil {
		return "", nil, fmt.Errorf("public key: %w", err)
	}
	return text, v, nil
}

// OpenFile opens the seal in a file with a public key, or with the file that holds it. The error is
// [check.Unsound] where the seal is not one of that key.
func OpenFile(file, key string) (Head, error) {
	b, err := disk.ReadSmall(file)
	if err != nil {
		return Head{}, fmt.Errorf("read the seal: %w", err)
	}
	if _, err := os.Stat(key); err == nil {
		if key, err = disk.ReadSmall(key); err != nil {
			return Head{}, fmt.Errorf("read the key: %w", err)
		}
	}
	public, err := parsePublic(key)
	if err != nil {
		return Head{}, asked.Wrong{Err: err}
	}
	h, err := public.Open([]byte(b))
	if err != nil {
		return Head{}, check.Unsoundly("%s: %w", filepath.Base(file), err)
	}
	return h, nil
}
