package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/flasher"
	"mealtab/flasher/bootload"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/frame"
	"mealtab/flasher/link"
	"mealtab/flasher/ports"
)

// said is a message and when it comes.
type said struct{ when, text string }

// messages are all that the flasher and install can say where something goes wrong, on a port called desk.
func messages(t *testing.T) (list []said) {
	add := func(when string, err error) { list = append(list, said{when, err.Error()}) }
	add("nothing answers", &link.NothingError{Port: "desk", Waits: link.Patience})
	add("an echo", &link.NothingError{Port: "desk", Waits: link.Patience, Heard: []byte{0x55}, Echo: true})
	add("something else answers", &link.NothingError{Port: "desk", Waits: link.Patience, Heard: []byte("AT+OK\r\nREADY\r\n")})
	for _, v := range []struct {
		what  string
		board int
	}{{"messages", frame.Version - 1}, {"messages", frame.Version + 1}, {"table format", 1}, {"table format", 3}} {
		add("versions", &flasher.VersionError{Port: "desk", What: v.what, Board: v.board, Ours: map[string]int{"messages": frame.Version, "table format": 2}[v.what]})
	}
	silent, gone := fmt.Errorf("%w in %s", link.ErrSilent, link.Seconds(5200*time.Millisecond)), fmt.Errorf("%w (%w)", link.ErrClosed, errors.New("input/output error"))
	for _, cause := range []error{silent, gone, link.ErrStuck, errors.New("it has 3 bytes, not 14")} {
		request := &flasher.RequestError{Port: "desk", Message: "BANK_WRITE", Err: cause}
		add("a request", request)
		add("writing", &flasher.UploadError{Port: "desk", Step: flasher.Writing, Err: request})
		request = &flasher.RequestError{Port: "desk", Message: "BANK_COMMIT", Err: cause}
		add("committing", &flasher.UploadError{Port: "desk", Step: flasher.Committing, Err: request})
	}
	for _, s := range frame.Statuses()[1:] {
		add("status "+s.Name, &flasher.RequestError{Port: "desk", Message: "NEXT", Err: frame.StatusError(s.Value)})
	}
	add("an unknown status", &flasher.RequestError{Port: "desk", Message: "NEXT", Err: frame.StatusError(77)})
	for _, err := range []error{flasher.ErrRefused, flasher.ErrTooMuch, flasher.ErrNoTable, flasher.ErrNoClock, flasher.ErrUnsupported, errNoPorts, errNoLikelyPort} {
		add("of itself", err)
	}
	add("the computer's clock", &flasher.ComputerClockError{Now: time.Unix(1e9, 0).UTC(), NotBefore: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)})
	_, err := choose([]opened{silentPort("left"), {"right", nil, &ports.OpenError{Port: "/dev/right", Reason: "another program has the port open"}}}, false)
	add("no feeder among the ports", err)
	for _, name := range []string{"/dev/nowhere", filepath.Join(t.TempDir(), "file")} {
		if strings.HasSuffix(name, "file") {
			require.NoError(t, os.WriteFile(name, nil, 0o644))
		}
		_, err := ports.Open(name, 57600)
		add("opening", errors.New(strings.ReplaceAll(err.Error(), filepath.Dir(name), "DIR")))
	}
	return append(list, installMessages(t)...)
}

func silentPort(name string) opened {
	return opened{name, nil, &link.NothingError{Port: name, Waits: link.Patience}}
}

// installMessages are those of install, as its owner reads them.
func installMessages(t *testing.T) (list []said) {
	short, chip := bootload.Families()[0], bootload.Chips()[0]
	for _, c := range []struct {
		when   string
		change func(*flashertest.Bootloader)
		board  string
	}{
		{"install, another chip", func(b *flashertest.Bootloader) { b.Signature = bootload.Chips()[2].Signature }, "m328-mains"},
		{"install, an unknown chip", func(b *flashertest.Bootloader) { b.Signature = [3]byte{1, 2, 3} }, "m328-mains"},
		{"install, no bootloader and no reset line", func(b *flashertest.Bootloader) { b.NoResetLine = true }, "m328-mains"},
		{"install, no bootloader", func(b *flashertest.Bootloader) { b.Garble = func(byte) []byte { return nil } }, "m168-mains"},
		{"install, the line goes dead in the middle", func(b *flashertest.Bootloader) {
			b.Garble = func(octet byte) []byte {
				if b.Writes > 20 {
					return nil
				}
				return []byte{octet}
			}
		}, "m328-mains"},
		{"install, a page reads back otherwise", func(b *flashertest.Bootloader) {
			b.Garble = func(octet byte) []byte {
				if b.Writes > 3 {
					copy(b.Flash[256:], "worn")
				}
				return []byte{octet}
			}
		}, "m328-mains"},
		{"install, the firmware stays silent", func(*flashertest.Bootloader) {}, "m328-mains"},
	} {
		b := flashertest.NewBootloader(short, chip, short.Baud)
		c.change(b)
		h := &home{t: t, boards: map[string]link.Transport{"desk": b}, feeder: flashertest.New(t, "m328-mains", nil, nil)}
		_, _, errs := h.start("", "install", "--board", c.board, "--port", "desk")
		list = append(list, said{c.when, strings.TrimSuffix(errs, "\n")})
	}
	return list
}

// Every message is in testdata/messages.txt, to be read as prose: a port is named once, nothing that was changed is called untouched, and what
// is to be done follows from what is said.
func TestMessages(t *testing.T) {
	var b strings.Builder
	for _, m := range messages(t) {
		fmt.Fprintf(&b, "%s\n    %s\n", m.when, strings.ReplaceAll(m.text, "\n", "\n    "))
		first := strings.Split(m.text, "\n")[0]
		if !strings.HasPrefix(m.when, "install, no bootloader and") { // which asks three times
			require.LessOrEqual(t, len(regexp.MustCompile(`\bdesk\b`).FindAllString(m.text, -1)), 1, m.text)
		}
		require.NotRegexp(t, `%!|\bnil\b|\.$|  +\S+:.*nothing was written.*no whole firmware`, first)
		require.False(t, strings.Contains(m.text, "nothing was written") && strings.Contains(m.text, "no whole firmware"), m.text)
		require.NotContains(t, m.text, "aG root")
	}
	file := filepath.Join("..", "..", "testdata", "messages.txt")
	if *update {
		require.NoError(t, os.WriteFile(file, []byte(b.String()), 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, string(want), b.String())
}
