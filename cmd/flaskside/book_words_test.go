package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"

	"flaskside/logbook/check"
)

// headOf puts the head that an output of status --json tells into a variable.
func headOf(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, len(args) == 2, "headof FILE VARIABLE")
	var told struct {
		Head struct {
			Seq  uint64 `json:"seq"`
			Hash string `json:"hash"`
		} `json:"head"`
	}
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[0])), &told))
	ts.Setenv(args[1], strconv.FormatUint(told.Head.Seq, 10)+":"+told.Head.Hash)
	_, err := check.ParsePin(ts.Getenv(args[1]))
	ts.Check(err)
}

// publicKey puts the public key that an output of seal tells into a variable.
func publicKey(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, len(args) == 2, "publickey FILE VARIABLE")
	m := regexp.MustCompile(`public key +(\S+)`).FindStringSubmatch(ts.ReadFile(args[0]))
	if m == nil {
		ts.Fatalf("%s tells no public key", args[0])
	}
	ts.Setenv(args[1], m[1])
}

// swap puts one text of a file in the place of another, wherever it stands.
func swap(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, len(args) == 3, "swap FILE OLD NEW")
	unquote := func(s string) []byte {
		out, err := strconv.Unquote(`"` + s + `"`)
		ts.Check(err)
		return []byte(out)
	}
	old, with := unquote(args[1]), unquote(args[2])
	b := []byte(ts.ReadFile(args[0]))
	if !bytes.Contains(b, old) || len(old) != len(with) {
		ts.Fatalf("%q does not stand in %s, or is of another length than %q", old, args[0], with)
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), bytes.ReplaceAll(b, old, with), 0o600))
}

// zero fills a file with zeros.
func zero(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, len(args) == 1, "zero FILE")
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), make([]byte, len(ts.ReadFile(args[0]))), 0o600))
}

// theOne puts the name of the one file of a pattern into a variable.
func theOne(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, len(args) == 2, "theone PATTERN VARIABLE")
	all, err := filepath.Glob(ts.MkAbs(args[0]))
	ts.Check(err)
	if len(all) != 1 {
		ts.Fatalf("the files of %s are %s", args[0], strings.Join(all, ", "))
	}
	ts.Setenv(args[1], all[0])
}
