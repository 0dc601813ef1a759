package probe

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"flaskside/logbook/disk"
	"flaskside/timers/cure"
)

// readSensor reads a file of the kernel once.
func (w *watcher) readSensor() {
	text, err := disk.ReadSmall(w.Path)
	if err != nil {
		w.refuse(err)
		return
	}
	parse := parseThousandths
	if filepath.Base(w.Path) == "w1_slave" {
		parse = parseW1Slave
	}
	c, err := parse(text)
	if err != nil {
		w.refuse(err)
		return
	}
	w.take(cure.BathReading{At: w.Clock.Read().Wall, TempC: c})
}

// follow reads the lines of a file or a pipe as they come, until the context ends or
// the file is another one.
func (w *watcher) follow(ctx context.Context) error {
	fi, err := os.Stat(w.Path)
	if err != nil {
		return err
	}
	how := os.O_RDONLY
	if fi.Mode().Type() == fs.ModeNamedPipe {
		how = os.O_RDWR // so that the pipe does not end with each program that fills it
	}
	f, err := os.OpenFile(w.Path, how, 0)
	if err != nil {
		return err
	}
	stop := context.AfterFunc(ctx, func() { _ = f.Close() }) // ends a read that waits
	defer func() {
		if stop() {
			_ = f.Close() // only read from
		}
	}()
	var rest []byte // of a line whose end has not come yet
	buf := make([]byte, 4096)
	seen := int64(0)
	for {
		n, err := f.Read(buf)
		seen += int64(n)
		rest = w.lines(append(rest, buf[:n]...))
		switch {
		case ctx.Err() != nil:
			return nil
		case err != nil && !errors.Is(err, io.EOF):
			return err
		case err == nil:
			continue
		}
		sleep(ctx, w.every)
		if now, err := os.Stat(w.Path); err != nil || !os.SameFile(fi, now) || now.Size() < seen {
			return err // put aside, or begun anew: open what is there now
		}
	}
}

// lines takes the whole lines of b and gives what is left of the last. A line
// without an end is not kept.
func (w *watcher) lines(b []byte) []byte {
	for {
		i := bytes.IndexByte(b, '\n')
		if i < 0 {
			break
		}
		w.takeLine(string(b[:i]))
		b = b[i+1:]
	}
	if len(b) > longest {
		w.refuse(fmt.Errorf("a line of more than %d bytes is not a reading", longest))
		return nil
	}
	return append([]byte(nil), b...)
}

func (w *watcher) takeLine(line string) {
	line = strings.TrimSpace(line)
	if line == "" || line[0] == '#' {
		return
	}
	r, err := parseReading(line)
	if err != nil {
		w.refuse(err)
		return
	}
	w.take(r)
}
