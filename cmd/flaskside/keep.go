package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"syscall"

	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/address"
	"flaskside/logbook/keep"
	"flaskside/logbook/keeper"
	"flaskside/logbook/words"
	"flaskside/timers/sysclock"
	"flaskside/tui/sshdoor"
)

// sshPort is the port that is named as an example.
const sshPort = 2222

// keepCommand has the book without a screen.
func keepCommand(o *options) *cobra.Command {
	unit := false
	sshAt := ""
	c := &cobra.Command{
		Use:   "keep",
		Short: "Keep the bench running without a screen of its own; screens can join it",
		Long: "Holds the logbook and shows nothing: timers, alarms (--on-alarm), probes and backups go on, and any\n" +
			"number of screens can join it: flaskside on the same logbook, here or over SSH. It is meant to run\n" +
			"as a service: keep --unit prints one for systemd.",
		Example: "flaskside keep\nflaskside keep --unit > bench.service",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if unit {
				return printUnit(c.OutOrStdout(), o, sshAt)
			}
			return runKeep(c.Context(), o, sshAt)
		},
	}
	besideFlags(c, o)
	c.Flags().StringVar(&sshAt, "ssh", "", "serve screens over SSH at ADDRESS:PORT, as in 127.0.0.1:2222, to those whose keys flaskside people lists")
	c.Flags().BoolVar(&unit, "unit", false, "print a service for systemd that runs this command as it is given")
	return c
}

// keeping reads the flags of a keeper without a screen.
func (o *options) keeping(sshAt string) (k keeper.Keeper, err error) {
	if k, err = o.keeper("the keeper, without a screen"); err != nil {
		return k, err
	}
	if sshAt != "" {
		if err := address.Typed("--ssh", sshAt, sshPort); err != nil {
			return k, err
		}
		k.Doors = append(k.Doors, func(ctx context.Context, hub *keep.Hub) (func(), error) {
			return sshdoor.Open(ctx, hub, sshAt, screenOf(o, hub.Clock()), say)
		})
	}
	return k, nil
}

// runKeep has the book until the process is told to end.
func runKeep(ctx context.Context, o *options, sshAt string) error {
	k, err := o.keeping(sshAt)
	if err != nil {
		return err
	}
	ctx, cancel := signal.NotifyContext(ctx, os.Interrupt, syscall.SIGHUP, syscall.SIGTERM)
	defer cancel()
	clock := sysclock.New()
	book, err := logbook.Open(o.book, clock)
	if err != nil {
		return err
	}
	return k.Keep(ctx, book, clock, func(hub *keep.Hub) error {
		log, err := hub.Join(keep.Person{From: keep.NoScreen, Own: true})
		if err != nil {
			return err
		}
		defer log.Leave(nil)
		say(fmt.Sprintf("keeping %s; screens join it with flaskside, or flaskside --book FILE", words.Clean(book.Path())))
		k.Log(ctx, log)
		return nil
	})
}

// printUnit prints a service that runs this command as it is given.
func printUnit(out io.Writer, o *options, sshAt string) error {
	if _, err := o.keeping(sshAt); err != nil {
		return err
	}
	self, err := thisProgram()
	if err != nil {
		return fmt.Errorf("find this program: %w", err)
	}
	book, err := filepath.Abs(o.book)
	if err != nil {
		return fmt.Errorf("find the logbook: %w", err)
	}
	args := []string{self, "keep", "--book", book}
	for _, f := range [][2]string{{"--by", o.by}, {"--on-alarm", o.onAlarm}, {"--ssh", sshAt}, {"--board", o.board}} {
		if f[1] != "" {
			args = append(args, f[0], f[1])
		}
	}
	for _, p := range o.probes {
		args = append(args, "--probe", p)
	}
	unit, err := keeper.Unit(args)
	if err == nil {
		_, err = io.WriteString(out, unit)
	}
	return err
}
