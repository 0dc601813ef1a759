//go:build !windows

package main

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
)

// TestOnAlarm: the command gets its own arguments and the words of the alarm as one
// more, whatever is in them; no shell reads it. A command that is not there is refused
// before the bench opens.
func TestOnAlarm(t *testing.T) {
	dir := t.TempDir()
	script, out := filepath.Join(dir, "lamp"), filepath.Join(dir, "out")
	if err := os.WriteFile(script, []byte("#!/bin/sh\nprintf '%s|' \"$@\" > "+out+"\n"), 0o700); err != nil {
		t.Fatal(err)
	}
	tell, err := alarmTeller(script + " --colour red")
	if err != nil {
		t.Fatal(err)
	}
	const words = "CURING TIME IS UP; touch x $(id) `id` | & \" '"
	tell(words)
	got, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	if want := "--colour|red|" + words + "|"; string(got) != want {
		t.Errorf("the command was given %q, want %q", got, want)
	}
	var usage usageError
	if _, err := alarmTeller(filepath.Join(dir, "nothing here")); !errors.As(err, &usage) {
		t.Errorf("a command that is not there: %v, want wrong usage", err)
	}
	if tell, err := alarmTeller("  "); tell != nil || err != nil {
		t.Errorf("no command: %v", err)
	}
}
