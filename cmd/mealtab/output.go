package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"

	"mealtab/cmd/mealtab/internal/tablefile"
	"mealtab/compiler/ihex"
)

// kind is a kind of file that commands write. One that is there already is written over only if it is of the same kind, and so can be made
// again by the same command.
type kind struct {
	what  string                 // "neither a table nor Intel HEX"
	looks func(head []byte) bool // nil: none of this kind can be made again
}

// Kinds of files. A plan is its owner's work, whoever wrote it first.
var (
	kindTable = kind{"neither a table nor Intel HEX", tablefile.Looks}
	kindHex   = kind{"not Intel HEX", ihex.Is}
	kindPlan  = kind{"", nil}
	kindSVG   = kind{"not an SVG picture", func(b []byte) bool { return bytes.HasPrefix(b, []byte("<svg ")) }}
	kindPNG   = kind{"not a PNG picture", func(b []byte) bool { return bytes.HasPrefix(b, []byte("\x89PNG\r\n\x1A\n")) }}
	kindLog   = kind{"not the log of a scenario", regexp.MustCompile(`^\w{3} \d{4}-\d\d-\d\d \d\d:\d\d:\d\d\.\d+ `).Match}
	kindCSV   = kind{"not a list of a scenario's events", func(b []byte) bool { return bytes.HasPrefix(b, []byte("utc,local,event,")) }}
	kindVCD   = kind{"not a value change dump of a scenario", func(b []byte) bool { return bytes.HasPrefix(b, []byte("$version mealtab $end")) }}
)

// holds reports whether what is in a file is of the kind, or nothing at all.
func (k kind) holds(head []byte) bool { return len(head) == 0 || k.looks != nil && k.looks(head) }

// headSize is more than a table or an image has; of the other kinds the first line tells.
const headSize = 1 << 20

// mayReplace refuses to write over what cannot be made again: what the output is made from, and without force any file that is not of its
// kind. sources are the inputs; "" and "-" are none.
func (a *app) mayReplace(output string, k kind, force bool, sources ...string) error {
	info, err := os.Stat(output)
	if output == "-" || output == "" || err != nil || !info.Mode().IsRegular() {
		return nil // nothing is there, or what writing will say more about
	}
	for _, source := range sources {
		if from, err := os.Stat(source); source != "-" && err == nil && os.SameFile(from, info) {
			return fmt.Errorf("%s is what the output is made from, and would be lost: name another file", output)
		}
	}
	if force {
		return nil
	}
	head, err := headOf(output)
	if err != nil {
		return err
	}
	switch {
	case k.holds(head):
	case k.looks == nil:
		return fmt.Errorf("%s is there already, and a plan is its owner's work, so it was not written over: name another file, or write with --force", output)
	default:
		return fmt.Errorf("%s is there already and is %s, so it was not written over: name another file, or write with --force", output, k.what)
	}
	return nil
}

func headOf(name string) ([]byte, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, plain(err)
	}
	defer f.Close()
	head, err := io.ReadAll(io.LimitReader(f, headSize))
	if err != nil {
		return nil, plain(err)
	}
	return head, nil
}

// write puts data into a file whole: a reader sees the old file or the new one. A file that is there keeps its mode and owner, a symbolic link stays one.
// "-" is standard output.
func (a *app) write(name string, data []byte) error {
	if name == "-" {
		_, err := a.out.Write(data)
		return err
	}
	target, err := followed(name)
	if err != nil {
		return cannotWrite(name, err)
	}
	old, err := os.Stat(target)
	switch {
	case err != nil:
		old = nil
	case !old.Mode().IsRegular():
		return plain(os.WriteFile(name, data, 0o666)) // a device or a pipe cannot be replaced
	case old.Mode().Perm()&0o200 == 0:
		return cannotWrite(name, errors.New("it may not be written to (its mode has no w)"))
	}
	if err := replace(target, old, data); err != nil {
		return cannotWrite(name, err)
	}
	return nil
}

// mostLinks is how many symbolic links may lead to a file: as many as Linux follows.
const mostLinks = 40

// followed is the file that a name leads to through symbolic links, whether it is there or not.
func followed(name string) (string, error) {
	for range mostLinks {
		info, err := os.Lstat(name)
		if err != nil || info.Mode()&os.ModeSymlink == 0 {
			return name, nil
		}
		to, err := os.Readlink(name)
		if err != nil {
			return "", err
		}
		if !filepath.IsAbs(to) {
			to = filepath.Join(filepath.Dir(name), to)
		}
		name = to
	}
	return "", errors.New("too many symbolic links")
}

// replace writes beside a file and renames.
func replace(target string, old os.FileInfo, data []byte) error {
	f, err := create(filepath.Dir(target))
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err == nil && old != nil {
		err = f.Chmod(old.Mode().Perm())
		keepOwner(f, old)
	}
	if err == nil {
		err = f.Sync()
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Rename(f.Name(), target)
	}
	if err != nil {
		os.Remove(f.Name())
	}
	return err
}

// create makes a new file in a directory, with the mode that the system gives new files.
func create(dir string) (*os.File, error) {
	for n := os.Getpid(); ; n++ {
		f, err := os.OpenFile(filepath.Join(dir, fmt.Sprintf(".mealtab-%d", n)), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
		if !errors.Is(err, os.ErrExist) {
			return f, err
		}
	}
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
