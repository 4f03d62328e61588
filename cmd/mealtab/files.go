package main

import (
	"fmt"
	"io"
	"os"
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
