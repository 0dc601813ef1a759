// Package people keeps the keys by which people reach the bench through SSH: a file in the
// format of OpenSSH's authorized_keys (sshd(8), AUTHORIZED_KEYS FILE FORMAT), with an option of
// our own before each key:
//
//	flaskside="by=KT,role=work" ssh-ed25519 AAAA… comment
//	flaskside="by=LL,role=lead,away" ssh-ed25519 AAAA… at home
//
// by is who comes with the key, role what they may do at the most (work where it is left out),
// away that they are not at the bench. A bad line is told, and gives nobody anything; the
// others hold.
package people

import (
	"bufio"
	"bytes"
	"context"
	"crypto/rsa"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"golang.org/x/crypto/ssh"

	"flaskside/logbook/action"
	"flaskside/logbook/disk"
	"flaskside/logbook/words"
	"flaskside/timers/sysclock"
)

// Keyholder is one line: a key, and who comes with it.
type Keyholder struct {
	Line        int    // from 1
	By          string // initials
	Role        string // of [action.Roles]
	Away        bool
	Fingerprint string // as ssh-keygen -l shows it
	Comment     string
}

// BadLine is a line that gives nobody anything.
type BadLine struct {
	Line int // from 1
	Err  error
}

// Error says which line, and what is wrong with it.
func (b BadLine) Error() string { return fmt.Sprintf("line %d: %v", b.Line, b.Err) }

// Bounds of the file.
const (
	maxFile = 1 << 20
	maxKeys = 1000
	minRSA  = 2048 // bits; NIST SP 800-131A rev. 2 allows no less (from memory)
)

// Path is where the keys of a book are.
func Path(bookPath string) string { return bookPath + ".keys" }

// Load reads the keys of a book; there may be none. The file must be ours alone to write: whoever
// can write there is a lead.
func Load(path string) (keys []Keyholder, bad []BadLine, err error) {
	fi, err := os.Lstat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil, nil
	}
	if err == nil {
		err = private(path, fi)
	}
	if err != nil {
		return nil, nil, fmt.Errorf("the keys of the people: %w", err)
	}
	f, err := disk.OpenSource(path)
	if err != nil {
		return nil, nil, fmt.Errorf("the keys of the people: %w", err)
	}
	defer func() { _ = f.Close() }() // only read from
	keys, bad, err = read(f)
	if err != nil {
		return nil, nil, fmt.Errorf("the keys of the people in %s: %w", path, err)
	}
	return keys, bad, nil
}

func private(path string, fi fs.FileInfo) error {
	switch {
	case !fi.Mode().IsRegular():
		return fmt.Errorf("%s is not a plain file", path)
	case !disk.Ours(fi):
		return fmt.Errorf("%s belongs to another user", path)
	case modesMean && fi.Mode().Perm()&0o022 != 0:
		return fmt.Errorf("%s can be written by others: chmod 600 %s", path, path)
	}
	return nil
}

// lookEvery is how often it is looked whether a key was taken out, or the board has another token.
const lookEvery = 2 * time.Second

// Follow hands over the keys of a book each time that the file is another one, until ctx ends.
// Where it cannot be read nobody has a key.
func Follow(ctx context.Context, path string, f func(keys []Keyholder, bad []BadLine)) {
	var was os.FileInfo
	sysclock.Every(ctx, lookEvery, func() {
		now, err := os.Lstat(path)
		if err == nil && was != nil && os.SameFile(was, now) && was.ModTime().Equal(now.ModTime()) && was.Size() == now.Size() {
			return
		}
		was = now
		keys, bad, _ := Load(path)
		f(keys, bad)
	})
}

// read reads keys. Of a key that stands there twice the first line holds.
func read(r io.Reader) (keys []Keyholder, bad []BadLine, err error) {
	text, err := io.ReadAll(io.LimitReader(r, maxFile+1))
	if err != nil {
		return nil, nil, err
	}
	if len(text) > maxFile {
		return nil, nil, fmt.Errorf("it is larger than %d KiB", maxFile>>10)
	}
	in := bufio.NewScanner(bytes.NewReader(text))
	in.Buffer(nil, maxFile+1)
	for no := 1; in.Scan(); no++ {
		line := strings.TrimSpace(strings.TrimPrefix(in.Text(), "\ufeff"))
		if line == "" || line[0] == '#' {
			continue
		}
		k, err := parse(line)
		if err == nil {
			if i := slices.IndexFunc(keys, func(o Keyholder) bool { return o.Fingerprint == k.Fingerprint }); i >= 0 {
				err = fmt.Errorf("the key stands in line %d already", keys[i].Line)
			} else if len(keys) == maxKeys {
				err = fmt.Errorf("there are more than %d keys", maxKeys)
			}
		}
		if err != nil {
			bad = append(bad, BadLine{no, err})
			continue
		}
		k.Line = no
		keys = append(keys, k)
	}
	return keys, bad, in.Err()
}

// harmless are options of OpenSSH that take away what nobody has here anyway.
var harmless = []string{"restrict", "no-agent-forwarding", "no-port-forwarding", "no-x11-forwarding", "no-user-rc", "pty"}

// parse reads one line.
func parse(line string) (k Keyholder, err error) {
	defer func() { // the library reads what anybody may have written
		if p := recover(); p != nil {
			err = errors.New("it cannot be read as a key")
		}
	}()
	pub, comment, options, _, err := ssh.ParseAuthorizedKey([]byte(line))
	if err != nil {
		return k, errors.New(`it is no key: a line is flaskside="by=KT,role=work" and then the line of the public key`)
	}
	if err := usable(pub); err != nil {
		return k, err
	}
	ours := ""
	for _, o := range options {
		name, value, has := strings.Cut(o, "=")
		switch {
		case strings.EqualFold(name, "flaskside") && ours != "":
			return k, errors.New("flaskside= stands there twice")
		case strings.EqualFold(name, "flaskside"):
			ours = value
		case !has && slices.Contains(harmless, strings.ToLower(name)):
		default:
			return k, fmt.Errorf("the option %q is not known here, and the key is not taken without it", words.Clip(clean(name), 30))
		}
	}
	if k.By, k.Role, k.Away, err = person(strings.Trim(ours, `"`)); err != nil {
		return k, err
	}
	k.Fingerprint, k.Comment = ssh.FingerprintSHA256(pub), words.Clip(clean(comment), 60)
	return k, nil
}

// usable refuses keys that prove too little, or not whose they are.
func usable(pub ssh.PublicKey) error {
	switch pub.Type() {
	case ssh.KeyAlgoED25519, ssh.KeyAlgoSKED25519, ssh.KeyAlgoECDSA256, ssh.KeyAlgoECDSA384, ssh.KeyAlgoECDSA521, ssh.KeyAlgoSKECDSA256:
		return nil
	case ssh.KeyAlgoRSA:
		if c, ok := pub.(ssh.CryptoPublicKey); ok {
			if k, ok := c.CryptoPublicKey().(*rsa.PublicKey); ok && k.N.BitLen() >= minRSA {
				return nil
			}
		}
		return fmt.Errorf("an RSA key needs %d bits: make another with ssh-keygen -t ed25519", minRSA)
	}
	return fmt.Errorf("keys of the kind %s are not taken: make one with ssh-keygen -t ed25519", words.Clip(clean(pub.Type()), 40))
}

// person reads our option.
func person(text string) (by, role string, away bool, err error) {
	if text == "" {
		return "", "", false, errors.New(`it does not say whose key it is: begin the line with flaskside="by=KT,role=work"`)
	}
	role = action.RoleWork
	seen := map[string]bool{}
	for part := range strings.SplitSeq(text, ",") {
		name, value, has := strings.Cut(strings.TrimSpace(part), "=")
		if seen[name] {
			return "", "", false, fmt.Errorf("%s stands there twice", words.Clip(clean(name), 20))
		}
		seen[name] = true
		switch {
		case name == "by" && has:
			by = value
		case name == "role" && has:
			role = value
		case name == "away" && !has:
			away = true
		default:
			return "", "", false, fmt.Errorf("flaskside= knows by=, role= and away, not %q", words.Clip(clean(part), 30))
		}
	}
	if err := initials(by); err != nil {
		return "", "", false, err
	}
	if !slices.Contains(action.Roles, role) {
		return "", "", false, fmt.Errorf("the role is see, work or lead, not %q", words.Clip(clean(role), 20))
	}
	return by, role, away, nil
}

// initials says what is wrong with the initials of somebody with a key.
func initials(by string) error {
	if n := len([]rune(by)); n == 0 || n > 8 || clean(by) != by || strings.ContainsAny(by, " ,=\"\\#") {
		return fmt.Errorf("initials are 1 to 8 letters or digits, not %q", words.Clip(clean(by), 20))
	}
	return nil
}

// clean leaves out what a terminal would obey.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		if r < 0x20 || r >= 0x7f && r < 0xa0 || r == '\ufeff' || r == '\u2028' || r == '\u2029' || r >= '\u202a' && r <= '\u202e' {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, ""))
}

// Words say with which key somebody may come, and as whom.
func (k Keyholder) Words() string {
	return fmt.Sprintf("%s may come with %s, role %s%s", k.By, k.Fingerprint, k.Role, k.away())
}

func (k Keyholder) away() string {
	if k.Away {
		return ", away from the bench"
	}
	return ""
}

// Text lists the keys of a file.
func Text(w io.Writer, file string, keys []Keyholder) {
	fmt.Fprintf(w, "keys, in %s\n", words.Clean(file))
	for _, k := range keys {
		fmt.Fprintf(w, "  %-8s %-4s  %s  %s%s\n", k.By, k.Role, k.Fingerprint, k.Comment, k.away())
	}
	if len(keys) == 0 {
		fmt.Fprintln(w, "  none: nobody can come through SSH")
	}
}
