package people

import (
	"crypto/ed25519"
	"crypto/rand"
	"crypto/rsa"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/crypto/ssh"
	"pgregory.net/rapid"

	"flaskside/logbook/action"
	_ "flaskside/timers/longrun" // room for the collector, scratch folders in memory
)

// pub is the line of a fresh public key.
func pub(t interface{ Fatal(...any) }) (line, fingerprint string) {
	key, _, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	k, err := ssh.NewPublicKey(key)
	if err != nil {
		t.Fatal(err)
	}
	return strings.TrimSpace(string(ssh.MarshalAuthorizedKey(k))), ssh.FingerprintSHA256(k)
}

// published is a key with its fingerprint as it stands in public: that of GitHub's host key
// (docs.github.com, "GitHub's SSH key fingerprints"; from memory).
const (
	published            = "ssh-ed25519 AAAAC3NzaC1lZDI1NTE5AAAAIOMqqnkVzrm0SdG6UOoqKLsabgH5C9okWi0dh2l9GKJl"
	publishedFingerprint = "SHA256:+DiY3wvvV6TuJJhbpZisF/zLDA0zPMSvHdkr4UvCOqU"
)

// TestPublishedFingerprint: a fingerprint is what others print for the same key.
func TestPublishedFingerprint(t *testing.T) {
	keys, bad, err := read(strings.NewReader(`flaskside="by=KT" ` + published + " host\n"))
	if err != nil || len(bad) > 0 || len(keys) != 1 || keys[0].Fingerprint != publishedFingerprint {
		t.Errorf("%+v, %v, %v", keys, bad, err)
	}
}

// TestLines: what a line gives, and what a bad one is told; the others hold all the same.
func TestLines(t *testing.T) {
	a, fpA := pub(t)
	b, _ := pub(t)
	weak, err := rsa.GenerateKey(rand.Reader, 1024)
	if err != nil {
		t.Skip("this machine makes no weak keys")
	}
	weakPub, err := ssh.NewPublicKey(&weak.PublicKey)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ line, bad string }{
		{`flaskside="by=MB,role=see" ` + b, ""},
		{`restrict,pty,flaskside="by=MB,role=see,away" ` + b + " a comment", ""},
		{b, "does not say whose key it is"},
		{`flaskside="by=MB,role=boss" ` + b, `the role is see, work or lead, not "boss"`},
		{`flaskside="by=,role=work" ` + b, "initials are 1 to 8"},
		{`flaskside="role=work" ` + b, "initials are 1 to 8"},
		{`flaskside="by=MB,by=LL" ` + b, "by stands there twice"},
		{`flaskside="by=MB",flaskside="by=LL" ` + b, "stands there twice"},
		{`flaskside="by=MB,admin" ` + b, `not "admin"`},
		{`command="sh",flaskside="by=MB" ` + b, `the option "command" is not known`},
		{`from="10.0.0.1",flaskside="by=MB" ` + b, `the option "from" is not known`},
		{`cert-authority,flaskside="by=MB" ` + b, `the option "cert-authority" is not known`},
		{`expiry-time="20250101",flaskside="by=MB" ` + b, `the option "expiry-time" is not known`},
		{`flaskside="by=MB" ` + a, "stands in line 1 already"},
		{`flaskside="by=MB" ` + strings.TrimSpace(string(ssh.MarshalAuthorizedKey(weakPub))), "needs 2048 bits"},
		{"rubbish", "it is no key"},
		{`flaskside="by=MB" ssh-ed25519 AAAA`, "it is no key"},
		{"\x1b]0;x\a", "it is no key"},
	} {
		keys, bad, err := read(strings.NewReader(`flaskside="by=KT,role=lead" ` + a + "\n\n# a comment\n" + c.line + "\n"))
		if err != nil {
			t.Fatal(err)
		}
		if keys[0].By != "KT" || keys[0].Role != "lead" || keys[0].Fingerprint != fpA || keys[0].Line != 1 {
			t.Errorf("%s: the good line gives %+v", c.line, keys[0])
		}
		if c.bad == "" {
			if len(bad) > 0 || len(keys) != 2 || keys[1].By != "MB" || keys[1].Role != "see" || keys[1].Line != 4 || keys[1].Away != strings.Contains(c.line, "away") {
				t.Errorf("%s: %+v, %v", c.line, keys, bad)
			}
			continue
		}
		if len(bad) != 1 || len(keys) != 1 || bad[0].Line != 4 || !strings.Contains(bad[0].Error(), c.bad) {
			t.Errorf("%s: %+v, %v; want %q", c.line, keys, bad, c.bad)
		}
		for _, l := range bad {
			if strings.ContainsAny(l.Error(), "\x1b\n\a") {
				t.Errorf("told %q", l.Error())
			}
		}
	}
}

// TestPrivate: a file that others can write gives nobody anything.
func TestPrivate(t *testing.T) {
	if !modesMean {
		t.Skip("modes mean nothing here")
	}
	path := filepath.Join(t.TempDir(), "b.db.keys")
	line, _ := pub(t)
	if keys, bad, err := Load(path); keys != nil || bad != nil || err != nil {
		t.Errorf("no file: %v %v %v", keys, bad, err)
	}
	if _, err := Add(path, line, "KT", "work", false); err != nil {
		t.Fatal(err)
	}
	if fi, err := os.Stat(path); err != nil || fi.Mode().Perm() != 0o600 {
		t.Errorf("made with mode %v", fi.Mode())
	}
	if err := os.Chmod(path, 0o620); err != nil {
		t.Fatal(err)
	}
	if keys, _, err := Load(path); err == nil || keys != nil || !strings.Contains(err.Error(), "chmod 600") {
		t.Errorf("written by others: %v, %v", keys, err)
	}
	link := path + ".link"
	if err := os.Symlink(path, link); err != nil {
		t.Fatal(err)
	}
	if _, _, err := Load(link); err == nil {
		t.Error("a link was followed")
	}
}

// TestComeAndGo: whatever is added and taken out in any order, and whatever else stands in the
// file: the keys that are read are those that were added and not taken out; every other line
// stays as it was.
func TestComeAndGo(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		path := filepath.Join(t.TempDir(), fmt.Sprintf("k%d", rapid.Uint32().Draw(rt, "file")))
		_ = os.Remove(path)
		want := map[string]Keyholder{}
		var others []string
		for range rapid.IntRange(1, 12).Draw(rt, "acts") {
			by := rapid.SampledFrom([]string{"KT", "MB", "LL", "Ł1", "a b", "", "x\"y", "ABCDEFGHI"}).Draw(rt, "by")
			switch rapid.IntRange(0, 3).Draw(rt, "what") {
			case 0: // somebody writes into the file by hand
				if _, err := os.Stat(path); err != nil {
					continue
				}
				l := rapid.SampledFrom([]string{"# note", "rubbish", "", `flaskside="by=ZZ" no key`, "x=\"\\"}).Draw(rt, "line")
				others = append(others, l)
				f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
				if err != nil {
					rt.Fatal(err)
				}
				if _, err := f.WriteString(l + "\n"); err != nil {
					rt.Fatal(err)
				}
				_ = f.Close()
			case 1:
				gone, err := Remove(path, by)
				n := 0
				for fp, k := range want {
					if k.By == by {
						delete(want, fp)
						n++
					}
				}
				if len(gone) != n || (err == nil) != (n > 0) {
					rt.Fatalf("%q: %d went, %v; want %d", by, len(gone), err, n)
				}
			default:
				line, fp := pub(rt)
				role, away := rapid.SampledFrom(append([]string{"boss"}, action.Roles...)).Draw(rt, "role"), rapid.Bool().Draw(rt, "away")
				k, err := Add(path, line+" "+rapid.SampledFrom([]string{"", "a b", "\x1b[31m", `"`}).Draw(rt, "comment"), by, role, away)
				good := (by == "KT" || by == "MB" || by == "LL" || by == "Ł1") && role != "boss"
				if (err == nil) != good {
					rt.Fatalf("%q as %s: %v", by, role, err)
				}
				if good {
					want[fp] = k
				}
			}
		}
		keys, _, err := Load(path)
		if err != nil || len(keys) != len(want) {
			rt.Fatalf("%d keys, %v; want %d", len(keys), err, len(want))
		}
		for _, k := range keys {
			w := want[k.Fingerprint]
			if w.By != k.By || w.Role != k.Role || w.Away != k.Away {
				rt.Fatalf("%+v, want %+v", k, w)
			}
		}
		text, _ := os.ReadFile(path)
		at := string(text)
		for _, l := range others {
			_, after, ok := strings.Cut(at, l+"\n")
			if !ok {
				rt.Fatalf("the line %q is gone from %q", l, text)
			}
			at = after
		}
	})
}

// TestReadAnything: no text brings the reader down, and no text gives a key without initials
// and a role.
func TestReadAnything(t *testing.T) {
	line, _ := pub(t)
	rapid.Check(t, func(rt *rapid.T) {
		parts := rapid.SliceOfN(rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{line, "flaskside=", `"`, "by=KT", ",", "role=lead", " ", "\n", "=", "away", "#", `\`})), 0, 12).Draw(rt, "parts")
		keys, bad, err := read(strings.NewReader(strings.Join(parts, "")))
		if err != nil {
			return
		}
		for _, k := range keys {
			if initials(k.By) != nil || k.Role == "" || k.Fingerprint == "" {
				rt.Fatalf("%+v", k)
			}
		}
		for _, b := range bad {
			if strings.ContainsAny(b.Error(), "\n\r\x1b") {
				rt.Fatalf("told %q", b.Error())
			}
		}
	})
}

// TestHostKey: it is made once, stays, and is nobody else's to read.
func TestHostKey(t *testing.T) {
	path := HostPath(filepath.Join(t.TempDir(), "b.db"))
	_, first, err := HostKey(path)
	if err != nil {
		t.Fatal(err)
	}
	if _, again, err := HostKey(path); err != nil || again != first {
		t.Errorf("another key: %s and %s, %v", first, again, err)
	}
	if !modesMean {
		return
	}
	if fi, err := os.Stat(path); err != nil || fi.Mode().Perm() != 0o600 {
		t.Errorf("made with mode %v", fi.Mode())
	}
	if err := os.Chmod(path, 0o640); err != nil {
		t.Fatal(err)
	}
	if _, _, err := HostKey(path); err == nil || !strings.Contains(err.Error(), "chmod 600") {
		t.Errorf("read by others: %v", err)
	}
	if err := os.WriteFile(path, []byte("rubbish"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(path, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, _, err := HostKey(path); err == nil || !strings.Contains(err.Error(), "move it away") {
		t.Errorf("rubbish: %v", err)
	}
}
