package main

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"

	"mealtab/compiler/table"
	"mealtab/flasher"
)

// speaking is held while something is printed or asked: several boards are talked to at once.
var speaking sync.Mutex

// session is a command's talk with one board. Questions are asked one at a time.
type session struct {
	*flasher.Feeder
	a   *app
	out speech
}

// speech is what a session says: at once where there is one board, else kept together to the end, or to a question.
type speech struct {
	strings.Builder
	direct io.Writer // nil: kept
}

func (s *speech) Write(p []byte) (int, error) {
	if s.direct != nil {
		return s.direct.Write(p)
	}
	return s.Builder.Write(p)
}

func (s *speech) WriteString(text string) (int, error) { return s.Write([]byte(text)) }

// each does the same with every feeder, side by side, and reports each on its own.
func (a *app) each(f portFlags, do func(s *session) error) error {
	list, err := a.feeders(f)
	if err != nil {
		return err
	}
	if len(list) == 1 {
		if list[0].err != nil {
			return list[0].err
		}
		return a.talk(list[0], do, "")
	}
	failed := make([]error, len(list))
	var wait sync.WaitGroup
	for i, o := range list {
		wait.Go(func() { failed[i] = a.talk(o, do, o.port) })
	}
	wait.Wait()
	return summed(failed)
}

// summed is errReported if any has failed; each has been reported.
func summed(failed []error) error {
	if errors.Join(failed...) != nil {
		return errReported
	}
	return nil
}

// talk runs one board's session; heading "" is for a single board, whose error the caller reports.
func (a *app) talk(o opened, do func(s *session) error, heading string) error {
	s := &session{Feeder: o.feeder, a: a}
	if heading == "" {
		s.out.direct = a.out
	}
	err := o.err
	if o.feeder != nil {
		defer o.feeder.Close()
		if heading != "" {
			fmt.Fprintf(&s.out, "\n%s (%s)\n", heading, o.feeder.BoardName())
		}
		err = do(s)
	}
	speaking.Lock()
	defer speaking.Unlock()
	s.flush()
	if heading != "" && err != nil && !errors.Is(err, errReported) {
		fmt.Fprintln(a.err, flasher.Named(heading, err))
	}
	return err
}

// inForce is a feeder's state and the table in force, of which there must be one.
func inForce(f *flasher.Feeder) (flasher.Status, []byte, error) {
	st, err := f.Status()
	if err != nil {
		return st, nil, err
	}
	tab, err := f.Table(st)
	if err != nil {
		return st, nil, flasher.Named(f.Port(), err)
	}
	return st, tab, nil
}

// decodedInForce is the same with the table decoded too.
func decodedInForce(f *flasher.Feeder) (st flasher.Status, tab []byte, t *table.Table, err error) {
	if st, tab, err = inForce(f); err == nil {
		t, err = table.Decode(tab)
	}
	return st, tab, t, err
}

// flush prints what has been said so far; the caller holds speaking.
func (s *session) flush() {
	io.WriteString(s.a.out, s.out.String())
	s.out.Reset()
}

// ask puts a question and wants yes; anything else, and the end of input, is no.
func (s *session) ask(question string) bool {
	speaking.Lock()
	defer speaking.Unlock()
	s.flush()
	fmt.Fprintf(s.a.out, "%s [y/N] ", question)
	answer := readLine(s.a.in)
	if !isTerminal(s.a.out) {
		fmt.Fprintln(s.a.out)
	}
	switch strings.ToLower(strings.TrimSpace(answer)) {
	case "y", "yes":
		return true
	}
	return false
}

// readLine reads up to the end of a line and not a byte more: the next question has its own.
func readLine(in io.Reader) string {
	var line []byte
	var b [1]byte
	for {
		n, err := in.Read(b[:])
		if n == 1 && b[0] != '\n' {
			line = append(line, b[0])
		}
		if err != nil || n == 1 && b[0] == '\n' {
			return string(line)
		}
	}
}
