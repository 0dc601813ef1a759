package people

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"

	"golang.org/x/crypto/ssh"

	"flaskside/logbook/disk"
)

// Add puts a key into the file, which is made where there is none. line is the line of the
// public key, as ssh-keygen writes it; what options it has are left out.
func Add(path, line, by, role string, away bool) (Keyholder, error) {
	pub, comment, _, _, err := ssh.ParseAuthorizedKey([]byte(line))
	if err != nil {
		return Keyholder{}, errors.New("that is no public key: give the file that ends in .pub, as in ~/.ssh/id_ed25519.pub")
	}
	opt := "by=" + by + ",role=" + role
	if away {
		opt += ",away"
	}
	out := fmt.Sprintf("flaskside=\"%s\" %s", opt, strings.TrimSpace(string(ssh.MarshalAuthorizedKey(pub))))
	if comment = clean(comment); comment != "" {
		out += " " + comment
	}
	if err := initials(by); err != nil { // before it is put into a line
		return Keyholder{}, err
	}
	k, err := parse(out)
	if err != nil {
		return k, err
	}
	keys, _, err := Load(path)
	if err != nil {
		return k, err
	}
	for _, o := range keys {
		if o.Fingerprint == k.Fingerprint {
			return k, fmt.Errorf("that key is there already, in line %d: it is %s's; take it out first", o.Line, o.By)
		}
	}
	text, err := lines(path)
	if err != nil {
		return k, err
	}
	k.Line = len(text) + 1
	return k, write(path, append(text, out))
}

// Remove takes the keys of somebody out of the file, or the one of a fingerprint, and gives
// those that went.
func Remove(path, who string) ([]Keyholder, error) {
	keys, _, err := Load(path)
	if err != nil {
		return nil, err
	}
	text, err := lines(path)
	if err != nil {
		return nil, err
	}
	var gone []Keyholder
	drop := map[int]bool{}
	for _, k := range keys {
		if k.By == who || k.Fingerprint == who {
			gone = append(gone, k)
			drop[k.Line] = true
		}
	}
	if len(gone) == 0 {
		return nil, fmt.Errorf("%q has no key here: flaskside people lists them", clean(who))
	}
	var kept []string
	for i, l := range text {
		if !drop[i+1] {
			kept = append(kept, l)
		}
	}
	return gone, write(path, kept)
}

// lines gives the lines of the file as they are.
func lines(path string) ([]string, error) {
	f, err := disk.OpenSource(path)
	if errors.Is(err, fs.ErrNotExist) {
		return []string{
			"# Who may come to the bench through SSH (flaskside keep --ssh). A line a key:",
			`# flaskside="by=INITIALS,role=see|work|lead[,away]" and then the line of the public key`,
		}, nil
	}
	if err != nil {
		return nil, err
	}
	defer func() { _ = f.Close() }() // only read from
	text, err := readAll(f)
	if err != nil || text == "" {
		return nil, err
	}
	return strings.Split(strings.TrimSuffix(text, "\n"), "\n"), nil
}

// write puts the lines in the place of the file, all of them or none.
func write(path string, lines []string) error {
	part := disk.NewName(path)
	f, err := disk.CreateOwn(part)
	if err != nil {
		return err
	}
	if err = disk.Finish(f, disk.Bytes([]byte(strings.Join(lines, "\n")+"\n"))); err == nil {
		err = os.Rename(part, path)
	}
	if err != nil {
		return errors.Join(fmt.Errorf("write %s: %w", path, err), os.Remove(part))
	}
	return nil
}

// ReadKey reads the file of a public key, - for the standard input; a private one is refused.
func ReadKey(file string, in io.Reader) (string, error) {
	if file != "-" {
		f, err := disk.OpenSource(file)
		if err != nil {
			return "", fmt.Errorf("the public key: %w", err)
		}
		defer func() { _ = f.Close() }() // only read from
		in = f
	}
	b, err := io.ReadAll(io.LimitReader(in, 64<<10))
	if err != nil {
		return "", fmt.Errorf("the public key: %w", err)
	}
	if strings.Contains(string(b), "PRIVATE KEY") {
		return "", errors.New("that is a private key, which nobody else must see: give the file that ends in .pub")
	}
	return string(b), nil
}
