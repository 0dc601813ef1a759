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
	"flaskside/logbook/bench"
	"flaskside/logbook/check"
	"flaskside/logbook/door"
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

// recordOne records one thing that is done now.
func (o *options) recordOne(body action.Body, why string) (r record.Record, err error) {
	answers, err := o.recordSeveral([]action.Body{body}, why)
	var bad *logbook.BadLine
	if errors.As(err, &bad) {
		return r, bad.Err
	}
	if err != nil {
		return r, err
	}
	return answers[0].Record, nil
}

// recordSeveral records things that are done now, all of them or none; a
// [logbook.BadLine] names the first that was refused.
func (o *options) recordSeveral(bodies []action.Body, why string) ([]door.Reply, error) {
	at := o.at()
	return at.Record(o.actions(at, bodies, why))
}

// actions makes them of things that are done now.
func (o *options) actions(at reach.At, bodies []action.Body, why string) []action.Action {
	as := make([]action.Action, len(bodies))
	for i, body := range bodies {
		as[i] = action.Action{ID: newID(), At: at.Clock.Read().Wall, By: o.by, Body: body, Why: why}
	}
	return as
}

// take records one thing that is done now and says so in the words of tell.
func (o *options) take(c *cobra.Command, body action.Body, why string, tell func(action.Body) string) error {
	r, err := o.recordOne(body, why)
	if err != nil {
		return byWhy(err)
	}
	_, err = fmt.Fprintf(c.OutOrStdout(), "%s; record %d\n", tell(r.Action.Body), r.Seq)
	return err
}

// whyFlag adds the flag for a reason.
func whyFlag(c *cobra.Command, why *string) {
	c.Flags().StringVar(why, "why", "", "the reason, if something about it is unusual")
}

// byWhy says how a reason is given here.
func byWhy(err error) error {
	var odd *bench.NeedsReason
	if !errors.As(err, &odd) {
		return err
	}
	return fmt.Errorf("%s: say --why to record it anyway", odd.What())
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
