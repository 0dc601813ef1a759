package main

import (
	"context"
	"os/exec"
	"strings"
	"time"
)

// alarmPatience is how long a command that is told of an alarm may run.
const alarmPatience = 10 * time.Second

// alarmTeller runs the user's command when an alarm sounds, with the words of the
// alarm as its last argument: a phone, a lamp. The line is split at spaces; there is
// no shell, so nothing in the words can be taken for a command.
func alarmTeller(line string) (func(words string), error) {
	argv := strings.Fields(line)
	if len(argv) == 0 {
		return nil, nil
	}
	path, err := exec.LookPath(argv[0])
	if err != nil {
		return nil, wrongUsage("--on-alarm: %q cannot be run: %v", argv[0], err)
	}
	return func(words string) {
		ctx, cancel := context.WithTimeout(context.Background(), alarmPatience)
		defer cancel()
		c := exec.CommandContext(ctx, path, append(argv[1:len(argv):len(argv)], words)...)
		c.WaitDelay = time.Second
		_ = c.Run() // the bell and the screen have told it already
	}, nil
}
