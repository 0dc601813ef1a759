package main

import (
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/charmbracelet/x/term"
	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/check"
	"flaskside/logbook/intake"
	"flaskside/logbook/reach"
	"flaskside/logbook/record"
	"flaskside/logbook/words"
	"flaskside/timers/sysclock"
)

// at is the logbook that a command is about.
func (o *options) at() reach.At {
	at := reach.At{Path: o.book, Clock: sysclock.New(), Tell: func(line string) { fmt.Fprintln(os.Stderr, "flaskside: "+words.Clean(line)) }}
	if term.IsTerminal(os.Stderr.Fd()) {
		at.Long = progress(os.Stderr)
	}
	return at
}

// act makes an action of a thing that is done now.
func (o *options) act(body action.Body, why string) action.Action {
	return action.Action{ID: newID(), At: sysclock.New().Read().Wall, By: o.by, Body: body, Why: why}
}

// recordOne records one thing that is done now.
func (o *options) recordOne(body action.Body, why string) (r record.Record, err error) {
	answers, err := o.at().Record([]action.Action{o.act(body, why)})
	if bad, ok := errors.AsType[*logbook.BadLine](err); ok {
		return r, bad.Err
	}
	if err != nil {
		return r, err
	}
	return answers[0].Record, nil
}

// take records one thing that is done now and says so in the words of tell.
func (o *options) take(c *cobra.Command, body action.Body, why string, tell func(action.Body) string) error {
	r, err := o.recordOne(body, why)
	if err != nil {
		return intake.ByWhy(err)
	}
	_, err = fmt.Fprintf(c.OutOrStdout(), "%s; record %d\n", tell(r.Action.Body), r.Seq)
	return err
}

// whyFlag adds the flag for a reason.
func whyFlag(c *cobra.Command, why *string) {
	c.Flags().StringVar(why, "why", "", "the reason, if something about it is unusual")
}

// progress tells on a terminal how far a long input is, on one line that is taken away in
// the end.
func progress(out io.Writer) func(done, of int) {
	widest := 0
	return func(done, of int) {
		line := ""
		switch {
		case of == 0 && done > 0:
			line = fmt.Sprintf("%d checked", done)
		case done < of:
			line = fmt.Sprintf("%d of %d recorded", done, of)
		case widest == 0:
			return
		}
		widest = max(widest, len(line))
		fmt.Fprintf(out, "\r%-*s", widest, line)
		if line == "" {
			fmt.Fprint(out, "\r")
		}
	}
}

// spoiltSheet is the end of a command that showed something not as it was written.
func spoiltSheet(spoilt []string, err error) error {
	if err != nil || len(spoilt) == 0 {
		return err
	}
	return check.Unsoundly("not as it was written: %s flaskside verify tells more", spoilt[0])
}
