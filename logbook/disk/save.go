package disk

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// Finish writes what a new file is to hold, has it reach the disk, and closes it.
func Finish(f *os.File, write func(io.Writer) error) error {
	err := write(f)
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}

// Bytes writes bytes, for [Finish].
func Bytes(b []byte) func(io.Writer) error {
	return func(w io.Writer) error { _, err := w.Write(b); return err }
}

// Save writes a file whole or not at all: beside its place under another name
// first, synced, then renamed. What stood there before stays until then. A new file is open
// to its owner alone, for what is written may name cases; one that stood there keeps who may
// read it.
func Save(path string, write func(io.Writer) error) (err error) {
	mode := fs.FileMode(0o600)
	switch fi, err := os.Stat(path); {
	case err == nil && !fi.Mode().IsRegular():
		return fmt.Errorf("%s is not a plain file: give the name of a file to write", path)
	case err == nil:
		mode = fi.Mode().Perm()
		if path, err = filepath.EvalSymlinks(path); err != nil {
			return fmt.Errorf("write %s: %w", path, err)
		}
	case !errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("write %s: %w", path, err)
	}
	Sweep(path)
	tmp := NewName(path)
	f, err := CreateOwn(tmp)
	if err == nil && mode != 0o600 {
		err = f.Chmod(mode)
	}
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			_ = os.Remove(tmp) // the error that is told comes first
		}
	}()
	err = Finish(f, func(f io.Writer) error {
		w := bufio.NewWriter(f)
		if err := write(w); err != nil {
			return err
		}
		return w.Flush()
	})
	if err == nil {
		err = os.Rename(tmp, path)
	}
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	return nil
}
