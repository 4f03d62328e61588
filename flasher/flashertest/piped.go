package flashertest

import (
	"bufio"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"mealtab/flasher/link"
)

// Piped is the firmware's line protocol, table engine and journal, compiled for this computer, as a transport. Its time is made up: what is on the wire takes its time, the board answers at once.
type Piped struct {
	t     testing.TB
	in    io.Writer
	out   *bufio.Reader
	now   time.Time
	baud  int
	free  time.Time // the wire to the board is free
	queue []reply   // to the board
	reply []reply   // to the host
}

// Build chooses how the firmware's host programs are compiled.
type Build int

const (
	Sanitized Build = iota // as their Makefile does: with the address and undefined-behaviour sanitizers
	Fast                   // without, for many runs
)

// built programs, one directory for each way; [CleanUp] removes them.
var built [2]struct {
	sync.Once
	dir string
	err error
}

// hostProgram builds one of the firmware's host programs, once for a test binary.
func hostProgram(t testing.TB, name string, how Build) string {
	t.Helper()
	b := &built[how]
	b.Do(func() {
		if b.dir, b.err = os.MkdirTemp("", "mealtab-host-"); b.err != nil {
			return
		}
		args := []string{"-s", "-C", filepath.Join(Root(t), "firmware-template", "host"), "BUILD=" + b.dir, filepath.Join(b.dir, name)}
		if how == Fast {
			args = append(args, "CFLAGS=-std=c99 -O2 -DEEPROM_SIZE=1024 -I../src -I.")
		}
		out, err := exec.Command("make", args...).CombinedOutput()
		if err != nil {
			b.err = fmt.Errorf("%w\n%s", err, out)
		}
	})
	if b.err != nil {
		t.Fatal(b.err)
	}
	return filepath.Join(b.dir, name)
}

// CleanUp removes what was built. Call it at the end of TestMain.
func CleanUp() {
	for i := range built {
		if built[i].dir != "" {
			os.RemoveAll(built[i].dir)
		}
	}
}

// NewPiped starts the firmware with an empty EEPROM.
func NewPiped(t testing.TB, baud int, how Build) *Piped {
	t.Helper()
	cmd := exec.Command(hostProgram(t, "line_pipe", how))
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		in.Close()
		if err := cmd.Wait(); err != nil {
			t.Errorf("the firmware's host program: %v", err)
		}
	})
	p := &Piped{t: t, in: in, out: bufio.NewReaderSize(out, 1<<16), now: Start, baud: baud}
	p.Restart()
	return p
}

func (p *Piped) command(c string) string {
	if _, err := io.WriteString(p.in, c+"\n"); err != nil {
		p.t.Fatal(err)
	}
	line, err := p.out.ReadString('\n')
	if err != nil {
		p.t.Fatalf("the firmware's host program ended: %v", err)
	}
	return line[:len(line)-1]
}

// Restart resets the board; what was on the wire is lost.
func (p *Piped) Restart() {
	p.queue, p.reply = nil, nil
	p.command("B")
}

// Pockets is the number turned since the start.
func (p *Piped) Pockets() string { return p.command("P") }

func (p *Piped) character() time.Duration { return 10 * time.Second / time.Duration(p.baud) }

func (p *Piped) Write(b []byte) (int, error) {
	for _, octet := range b {
		if p.free.Before(p.now) {
			p.free = p.now
		}
		p.free = p.free.Add(p.character())
		p.queue = append(p.queue, reply{p.free, octet})
	}
	return len(b), nil
}

// advance lets the board have what has arrived up to an instant.
func (p *Piped) advance(to time.Time) {
	n := 0
	for n < len(p.queue) && !p.queue[n].at.After(to) {
		n++
	}
	if n > 0 {
		octets := make([]byte, n)
		for i := range octets {
			octets[i] = p.queue[i].data
		}
		at := p.queue[n-1].at
		p.queue = p.queue[n:]
		answer, err := hex.DecodeString(p.command(fmt.Sprintf("S %x", octets)))
		if err != nil {
			p.t.Fatal(err)
		}
		for _, b := range answer {
			at = at.Add(p.character())
			p.reply = append(p.reply, reply{at, b})
		}
	}
	if to.After(p.now) {
		p.now = to
	}
}

func (p *Piped) Read(b []byte, wait time.Duration) (int, error) {
	end := p.now.Add(max(wait, 0))
	if len(p.reply) == 0 || p.reply[0].at.After(p.now) {
		// Everything that the host has sent arrives before it can hope for an answer.
		if n := len(p.queue); n > 0 && !p.queue[n-1].at.After(end) {
			p.advance(p.queue[n-1].at)
		}
		if len(p.reply) == 0 || p.reply[0].at.After(end) {
			p.advance(end)
			return 0, nil
		}
		if last := p.reply[min(len(b), len(p.reply))-1].at; last.After(end) {
			p.advance(end)
		} else {
			p.advance(last)
		}
	}
	return taken(b, &p.reply, p.now), nil
}

func (p *Piped) SetBaud(baud int) error {
	p.baud = baud
	return nil
}

func (p *Piped) Reset() error          { return link.ErrNoResetLine }
func (p *Piped) Now() time.Time        { return p.now }
func (p *Piped) Sleep(d time.Duration) { p.advance(p.now.Add(d)) }
func (p *Piped) Close() error          { return nil }
