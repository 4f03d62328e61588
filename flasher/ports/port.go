package ports

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"time"

	"go.bug.st/serial"

	"mealtab/flasher/link"
)

// port is a serial port of this computer.
type port struct {
	serial.Port
	wait time.Duration
}

// Open opens a port by name at a rate; names tcp:HOST:PORT and rfc2217:HOST:PORT are those of lines behind a network. The
// error says what to do about it.
func Open(name string, baud int) (*link.Link, error) {
	if strings.HasPrefix(name, controlPrefix) {
		return openControlled(name, baud)
	}
	if strings.HasPrefix(name, tcpPrefix) {
		return openTCP(name, baud)
	}
	p, err := serial.Open(name, &serial.Mode{BaudRate: baud, DataBits: 8})
	if err != nil {
		return nil, &OpenError{name, reason(name, err)}
	}
	return link.New(&port{Port: p, wait: -1}, ShortName(name), baud), nil
}

// ShortName is a port's name without its directory.
func ShortName(name string) string {
	if filepath.Dir(name) == "/dev" {
		return filepath.Base(name)
	}
	return name
}

// OpenError is a port that cannot be used.
type OpenError struct {
	Port   string
	Reason string
}

func (e *OpenError) Error() string { return ShortName(e.Port) + ": " + e.Reason }

func reason(name string, err error) string {
	var pe *serial.PortError
	switch {
	case errors.As(err, &pe) && pe.Code() == serial.PortBusy:
		return "another program has the port open; close it (a serial monitor, another upload)"
	case errors.As(err, &pe) && pe.Code() == serial.PermissionDenied:
		return permission(name)
	case errors.Is(err, os.ErrNotExist) || errors.As(err, &pe) && pe.Code() == serial.PortNotFound:
		return "there is no such port; " + NoPort(runtime.GOOS)
	case errors.As(err, &pe) && pe.Code() == serial.InvalidSerialPort:
		return "this is not a serial port"
	}
	return err.Error()
}

// permission says how to get at a port that belongs to others.
func permission(name string) string {
	if runtime.GOOS != "linux" {
		return "the system gives no permission to open the port: another user's program may have it, or it belongs to the administrator"
	}
	group, err := groupOf(name)
	if err != nil {
		group = "dialout"
	}
	return noPermission(group)
}

// noPermission names the group that may use a port. Nobody joins that of the superuser for it.
func noPermission(group string) string {
	if group == "root" {
		return "no permission to open the port: it is the superuser's alone; a udev rule with GROUP=\"dialout\" gives such ports to that group, which you can join"
	}
	return fmt.Sprintf("no permission to open the port; join its group and log in again: sudo usermod -aG %s $USER", group)
}

func (p *port) Read(b []byte, wait time.Duration) (int, error) {
	if wait != p.wait {
		if err := p.SetReadTimeout(wait); err != nil {
			return 0, err
		}
		p.wait = wait
	}
	return p.Port.Read(b)
}

// stuckAfter is how long a port may take for what is written at once: 256 octets at the lowest rate are on the wire in 0.14 s.
const stuckAfter = 3 * time.Second

// Write waits no longer than a port that works takes. What waits below it then goes nowhere: the port is closed next.
func (p *port) Write(b []byte) (int, error) {
	type result struct {
		n   int
		err error
	}
	done, data := make(chan result, 1), bytes.Clone(b)
	go func() {
		n, err := p.Port.Write(data)
		done <- result{n, err}
	}()
	patience := time.NewTimer(stuckAfter)
	defer patience.Stop()
	select {
	case r := <-done:
		return r.n, r.err
	case <-patience.C:
		return 0, link.ErrStuck
	}
}

func (p *port) SetBaud(baud int) error {
	return p.SetMode(&serial.Mode{BaudRate: baud, DataBits: 8})
}

// resetPulse discharges the capacitor between DTR or RTS and the reset pin [common practice].
const resetPulse = 100 * time.Millisecond

// Reset drops DTR and RTS and raises them again: the falling edge at the bridge's pins, which are active low, resets the board.
func (p *port) Reset() error {
	for _, on := range []bool{false, true} {
		if err := errors.Join(p.SetDTR(on), p.SetRTS(on)); err != nil {
			if errors.Is(err, syscall.ENOTTY) || errors.Is(err, syscall.EINVAL) {
				return link.ErrNoResetLine
			}
			return err
		}
		if !on {
			time.Sleep(resetPulse)
		}
	}
	return p.ResetInputBuffer()
}

func (p *port) Now() time.Time        { return time.Now() }
func (p *port) Sleep(d time.Duration) { time.Sleep(d) }
