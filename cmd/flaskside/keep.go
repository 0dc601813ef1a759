package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"sync"
	"syscall"

	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/keep"
	"flaskside/logbook/words"
	"flaskside/timers/sysclock"
)

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
		Example: "flaskside keep\nflaskside keep --unit > ~/.config/systemd/user/flaskside.service",
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

// runKeep has the book until the process is told to end.
func runKeep(ctx context.Context, o *options, sshAt string) error {
	work, err := o.parseBeside()
	if err != nil {
		return err
	}
	if err := wholeAddress("--ssh", sshAt, sshPort); err != nil {
		return err
	}
	ctx, cancel := signal.NotifyContext(ctx, os.Interrupt, syscall.SIGHUP, syscall.SIGTERM)
	defer cancel()
	clock := sysclock.New()
	book, err := logbook.Open(o.book, clock)
	if err != nil {
		return err
	}
	return keepBook(ctx, book, clock, "the keeper, without a screen", work, func(hub *keep.Hub) error {
		log, err := hub.Join(keep.Person{From: noScreen, Own: true})
		if err != nil {
			return err
		}
		defer log.Leave(nil)
		if sshAt != "" {
			stop, err := serveSSH(ctx, hub, sshAt, clock, os.Stderr)
			if err != nil {
				return err
			}
			defer stop()
		}
		fmt.Fprintf(os.Stderr, "flaskside: keeping %s; screens join it with flaskside, or flaskside --book FILE\n", words.Clean(book.Path()))
		var beside sync.WaitGroup
		defer beside.Wait()
		ctx, cancel := context.WithCancel(ctx)
		defer cancel()
		beside.Go(func() { logNews(ctx, log, os.Stderr) })
		<-ctx.Done()
		return nil
	})
}

// noScreen is where the keeper is that has none.
const noScreen = "no screen"

// logNews writes what is said on screens where there is none.
func logNews(ctx context.Context, at *keep.Screen, out io.Writer) {
	lost := false
	for {
		select {
		case <-ctx.Done():
			return
		case <-at.Wake():
		}
		n := at.Take()
		for _, l := range n.Lines {
			_, _ = fmt.Fprintln(out, "flaskside: "+words.Clean(l.Text)) // nowhere to tell a failing stderr
		}
		if is := n.Lost != nil; is != lost {
			lost = is
			if lost {
				_, _ = fmt.Fprintln(out, "flaskside: the logbook cannot be reached: "+oneLine(n.Lost))
			} else {
				_, _ = fmt.Fprintln(out, "flaskside: the logbook can be reached again")
			}
		}
	}
}

// unit is a service of the user for systemd (systemd.service(5), systemd.exec(5)). What would
// keep the program from its own work is left out: PrivateTmp would hide the socket of a
// logbook with a long name from its screens, ProtectSystem=strict and ProtectHome the
// folders of the logbook and of its backups.
const unit = `# As a service of this user:
#   flaskside keep --unit > ~/.config/systemd/user/flaskside.service
#   systemctl --user enable --now flaskside
#   loginctl enable-linger    (it starts with the computer, and stays when you log out)
[Unit]
Description=flaskside: keeps the bench running without a screen

[Service]
ExecStart=%s
Restart=on-failure
RestartSec=2
TimeoutStopSec=90
UMask=0077
NoNewPrivileges=yes
ProtectSystem=full
ProtectControlGroups=yes
ProtectKernelModules=yes
ProtectKernelTunables=yes
LockPersonality=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
RestrictNamespaces=yes
RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6
SystemCallArchitectures=native
SystemCallFilter=@system-service
TasksMax=256

[Install]
WantedBy=default.target
`

// printUnit prints the service.
func printUnit(out io.Writer, o *options, sshAt string) error {
	if err := wholeAddress("--ssh", sshAt, sshPort); err != nil {
		return err
	}
	if _, err := o.parseBeside(); err != nil {
		return err
	}
	self, err := os.Executable()
	if err != nil {
		return fmt.Errorf("find this program: %w", err)
	}
	book, err := filepath.Abs(o.book)
	if err != nil {
		return fmt.Errorf("find the logbook: %w", err)
	}
	args := []string{self, "keep", "--book", book}
	if o.by != "" {
		args = append(args, "--by", o.by)
	}
	if o.onAlarm != "" {
		args = append(args, "--on-alarm", o.onAlarm)
	}
	if sshAt != "" {
		args = append(args, "--ssh", sshAt)
	}
	if o.board != "" {
		args = append(args, "--board", o.board)
	}
	for _, p := range o.probes {
		args = append(args, "--probe", p)
	}
	for i, a := range args {
		if args[i], err = unitWord(a); err != nil {
			return err
		}
	}
	_, err = fmt.Fprintf(out, unit, strings.Join(args, " "))
	return err
}

// unitWord quotes a word of a command line as systemd reads it (systemd.service(5), command
// lines; systemd.unit(5), specifiers).
func unitWord(s string) (string, error) {
	if words.Clean(s) != s {
		return "", fmt.Errorf("%q has characters that a service file cannot hold", s)
	}
	s = strings.NewReplacer(`\`, `\\`, `"`, `\"`, "%", "%%", "$", "$$").Replace(s)
	return `"` + s + `"`, nil
}
