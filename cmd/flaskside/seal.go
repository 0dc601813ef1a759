package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"flaskside/logbook/check"
	"flaskside/logbook/reach"
	"flaskside/logbook/seal"
	"flaskside/logbook/words"
)

// sealCommand signs the end of the chain.
func sealCommand(o *options) *cobra.Command {
	var key, out string
	c := &cobra.Command{
		Use:   "seal",
		Short: "Sign the head of the logbook with the laboratory's key",
		Long: "Looks through the logbook and signs its head, number and hash of the last record, with the\n" +
			"laboratory's ed25519 key. The key is made on first use, for its owner alone, in the folder for\n" +
			"settings; --key names another, also one made by ssh-keygen -t ed25519. Keep a copy of it, and\n" +
			"give the public key to whoever is going to check seals.",
		Example: "flaskside seal --out november.seal\nflaskside verify --seal november.seal --key lab.pub",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if key == "" {
				dir, err := os.UserConfigDir()
				if err != nil {
					return fmt.Errorf("no folder for settings is known on this machine: name the key with --key FILE (%w)", err)
				}
				key = filepath.Join(dir, "flaskside", "seal.key")
			}
			return makeSeal(c, o.at(), key, out)
		},
	}
	c.Flags().StringVar(&key, "key", "", "the private key (default: in your settings folder, made on first use)")
	c.Flags().StringVar(&out, "out", "", "write the seal to this file (default: standard output)")
	return c
}

func makeSeal(c *cobra.Command, at reach.At, key, out string) error {
	rep, err := at.Look(check.Verifying{}, apartly(c.Context()))
	if err != nil {
		return err
	}
	if err := rep.Sound("no seal was made; flaskside verify lists them"); err != nil {
		return err
	}
	k, made, err := seal.LoadOrMake(key)
	if err != nil {
		return err
	}
	signed, err := k.Sign(seal.Head{Book: rep.Book, Seq: rep.Head.Seq, Hash: rep.Head.Hash, At: at.Clock.Read().Wall.Truncate(time.Second)})
	if err != nil {
		return err
	}
	if err := deliver(out, c.OutOrStdout(), func(w io.Writer) error { _, err := w.Write(signed); return err }); err != nil {
		return err
	}
	said := c.ErrOrStderr() // the standard output is the seal itself
	if out != "" {
		said = c.OutOrStdout()
	}
	if made {
		fmt.Fprintf(said, "a new key was made: %s (keep a copy of it, and away from others)\n", words.Clean(key))
	}
	_, err = fmt.Fprintf(said, "sealed head %s\npublic key  %s\n", rep.Head, k.Public())
	return err
}
