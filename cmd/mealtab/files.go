package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"mealtab/cmd/mealtab/internal/tablefile"
)

// maxInput bounds what is read: no plan or table comes near it.
const maxInput = 8 << 20

// read reads a file, or standard input for "-".
func (a *app) read(name string) ([]byte, error) {
	in := a.in
	if name != "-" {
		f, err := os.Open(name)
		if err != nil {
			return nil, plain(err)
		}
		defer f.Close()
		in = f
	}
	src, err := io.ReadAll(io.LimitReader(in, maxInput+1))
	if err != nil {
		return nil, plain(err)
	}
	if len(src) > maxInput {
		return nil, fmt.Errorf("%s has more than %d MB: no plan is that long", name, maxInput>>20)
	}
	return src, nil
}

// plain says what is wrong with a file without the name of the system call.
func plain(err error) error {
	if e, ok := err.(*os.PathError); ok {
		return fmt.Errorf("%s: %w", e.Path, e.Err)
	}
	return err
}

// write puts data into a file whole: a reader sees the old file or the new one. "-" is standard output.
func (a *app) write(name string, data []byte) error {
	if name == "-" {
		_, err := a.out.Write(data)
		return err
	}
	if info, err := os.Stat(name); err == nil && !info.Mode().IsRegular() {
		return plain(os.WriteFile(name, data, 0o666)) // a device or a pipe cannot be replaced
	}
	f, err := os.CreateTemp(filepath.Dir(name), ".mealtab-*")
	if err != nil {
		return cannotWrite(name, err)
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Chmod(0o644)
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Rename(f.Name(), name)
	}
	if err != nil {
		os.Remove(f.Name())
		return cannotWrite(name, err)
	}
	return nil
}

// cannotWrite names the file that was asked for, where the system names one that its user never heard of.
func cannotWrite(name string, err error) error {
	var path *os.PathError
	var link *os.LinkError
	switch {
	case errors.As(err, &path):
		err = path.Err
	case errors.As(err, &link):
		err = link.Err
	}
	return fmt.Errorf("cannot write %s: %w", name, err)
}

// mayReplace refuses to write a table over what cannot be made again: the plan itself, or a file that is no table.
func (a *app) mayReplace(output, plan string, force bool) error {
	info, err := os.Stat(output)
	if output == "-" || err != nil || !info.Mode().IsRegular() {
		return nil // nothing is there, or what writing will say more about
	}
	if from, err := os.Stat(plan); plan != "-" && err == nil && os.SameFile(from, info) {
		return fmt.Errorf("%s is the plan itself, and the table would take its place: name another file with -o", output)
	}
	if force {
		return nil
	}
	src, err := a.read(output)
	if err != nil {
		return err
	}
	if !tablefile.Looks(src) {
		return fmt.Errorf("%s is there already and is neither a table nor Intel HEX, so it was not written over: name another file with -o, or write with --force", output)
	}
	return nil
}
