package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"flaskside/logbook/address"
	"flaskside/logbook/people"
	"flaskside/tui/board"
)

// boardPort is the port that is named as an example.
const boardPort = 8020

// boardCommand tells where the board is to be seen.
func boardCommand(o *options) *cobra.Command {
	anew, at, code := false, fmt.Sprintf("127.0.0.1:%d", boardPort), false
	c := &cobra.Command{
		Use:   "board",
		Short: "Print the address of the wall board, with the token that opens it",
		Long: "Prints the address of the wall board, which is served while a bench runs that was begun with\n" +
			"--board. Whoever knows the token in it sees places, case numbers and initials; nobody can change\n" +
			"anything there. --new makes a token, or a new one: the old address then stops working.",
		Example: "flaskside board --new\nflaskside keep --board 127.0.0.1:8020\nflaskside board --at 192.168.1.7:8020 --code",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := address.Typed("--at", at, boardPort); err != nil {
				return err
			}
			path := people.TokenPath(o.book)
			token, err := people.Token(path)
			if anew {
				token, err = people.NewToken(path)
			}
			if err != nil {
				return err
			}
			if token == "" {
				return errors.New("the board has no token yet: flaskside board --new makes one")
			}
			address := "http://" + at + "/" + token + "/"
			drawn := ""
			if code {
				if drawn, err = board.Code(address); err != nil {
					return err
				}
			}
			_, err = fmt.Fprintf(c.OutOrStdout(), "%s\n%s", address, drawn)
			return err
		},
	}
	c.Flags().BoolVar(&anew, "new", false, "make a token, or a new one; the old one stops working")
	c.Flags().StringVar(&at, "at", at, "the address that the board was given")
	c.Flags().BoolVar(&code, "code", false, "the address as a QR code, too, for the camera of a tablet")
	return c
}
