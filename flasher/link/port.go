package link

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"syscall"
	"time"

	"go.bug.st/serial"
)

// port is a serial port of this computer.
type port struct {
	serial.Port
	wait time.Duration
}

// Open opens a port by name at a rate. The error says what to do about it.
func Open(name string, baud int) (*Link, error) {
	p, err := serial.Open(name, &serial.Mode{BaudRate: baud, DataBits: 8})
	if err != nil {
		return nil, &OpenError{name, reason(name, err)}
	}
	return New(&port{Port: p, wait: -1}, ShortName(name), baud), nil
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
		return "there is no such port; is the board plugged in, and does the cable carry data? A cable for charging only makes no port appear"
	case errors.As(err, &pe) && pe.Code() == serial.InvalidSerialPort:
		return "this is no serial port"
	}
	return err.Error()
}

// permission names the group that may use the port.
func permission(name string) string {
	group := "dialout"
	if g, err := groupOf(name); err == nil {
		group = g
	}
	if runtime.GOOS != "linux" {
		return "no permission to open the port"
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
				return ErrNoResetLine
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
