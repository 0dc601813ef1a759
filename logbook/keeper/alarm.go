package keeper

import (
	"context"
	"os/exec"
	"strings"
	"sync"
	"time"

	"flaskside/logbook/asked"
)

// alarmPatience is how long a command that is told of an alarm may run.
const alarmPatience = 10 * time.Second

// alarmWord begins the words of an alarm, so that no words, typed by whoever, can be taken
// for an option of the command.
const alarmWord = "flaskside: "

// Teller runs the user's command when an alarm sounds, with the words of the
// alarm as its last argument: a phone, a lamp. The line is split at spaces; there is
// no shell, so nothing in the words can be taken for a command. One command runs at most;
// the alarms that sound meanwhile are told together by the next. A command is ended with
// all that it began, when it is through and at the latest after alarmPatience. An empty line
// tells nobody.
func Teller(line string) (func(words string), error) {
	argv := strings.Fields(line)
	if len(argv) == 0 {
		return nil, nil
	}
	path, err := exec.LookPath(argv[0])
	if err != nil {
		return nil, asked.Wrongly("--on-alarm: %q cannot be run: %v", argv[0], err)
	}
	return oneByOne(func(words string) { tellCommand(path, argv[1:], words, alarmPatience) }), nil
}

// oneByOne has one call of tell at a time; what comes meanwhile is told together by the next.
func oneByOne(tell func(words string)) func(words string) {
	var mu sync.Mutex
	busy, waiting := false, []string(nil)
	return func(words string) {
		mu.Lock()
		defer mu.Unlock()
		if waiting = append(waiting, words); busy {
			return
		}
		busy = true
		for len(waiting) > 0 {
			next := strings.Join(waiting, "; ")
			waiting = nil
			mu.Unlock()
			tell(next)
			mu.Lock()
		}
		busy = false
	}
}

func tellCommand(path string, args []string, words string, patience time.Duration) {
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	c := exec.CommandContext(ctx, path, append(args[:len(args):len(args)], alarmWord+words)...)
	end := ownGroup(c)
	c.Cancel = func() error { end(); return nil }
	c.WaitDelay = time.Second
	_ = c.Run() // the bell and the screen have told it already
	end()
}
