package main

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/boombuler/barcode/qr"
	"github.com/spf13/cobra"

	"flaskside/logbook/people"
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
			if err := wholeAddress("--at", at, boardPort); err != nil {
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
			return printBoard(c.OutOrStdout(), "http://"+at+"/"+token+"/", code)
		},
	}
	c.Flags().BoolVar(&anew, "new", false, "make a token, or a new one; the old one stops working")
	c.Flags().StringVar(&at, "at", at, "the address that the board was given")
	c.Flags().BoolVar(&code, "code", false, "the address as a QR code, too, for the camera of a tablet")
	return c
}

// printBoard prints an address, and on request as a code.
func printBoard(out io.Writer, address string, code bool) error {
	if _, err := fmt.Fprintln(out, address); err != nil || !code {
		return err
	}
	q, err := qr.Encode(address, qr.L, qr.Unicode)
	if err != nil {
		return fmt.Errorf("make the code: %w", err)
	}
	const quiet = 4 // modules around it, as ISO/IEC 18004 wants
	size := q.Bounds().Dx()
	dark := func(x, y int) bool {
		if x < 0 || y < 0 || x >= size || y >= size {
			return false
		}
		r, _, _, _ := q.At(x, y).RGBA()
		return r == 0
	}
	var b strings.Builder
	for y := -quiet; y < size+quiet; y += 2 {
		for x := -quiet; x < size+quiet; x++ {
			// Light is drawn, so that it stands light on the dark ground of a terminal.
			b.WriteString(map[[2]bool]string{{true, true}: " ", {true, false}: "▄", {false, true}: "▀", {false, false}: "█"}[[2]bool{dark(x, y), dark(x, y+1)}])
		}
		b.WriteByte('\n')
	}
	_, err = io.WriteString(out, b.String())
	return err
}
