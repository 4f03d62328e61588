package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
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
		return plain(err)
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
	}
	return plain(err)
}
