// Package ports lists and opens the serial ports of this computer, and those behind a network, as transports of package link.
//
// In: a port's name: /dev/ttyUSB0, COM3, tcp:HOST:PORT or rfc2217:HOST:PORT. Out: a [link.Link], or an error that says what to do
// about it. The package is the only one that uses go.bug.st/serial, whose ways it hides: a read that times out returns 0, nil; DTR
// and RTS are set by opening a port, which resets most boards; a pseudo-terminal has no such lines.
package ports

import (
	"slices"
	"strings"
)

// Port is a serial port of this computer.
type Port struct {
	Name     string
	USB      bool
	VID, PID string // of the USB device, hexadecimal
	Serial   string // number of the USB device
	Product  string
}

// bridges are the USB vendor numbers of the serial bridges on boards of this kind, and of such boards themselves [from memory].
var bridges = []string{"0403", "04D8", "067B", "10C4", "1A86", "2341", "2A03"}

// Likely reports whether a feeder may be on the port: asking on others could disturb what is there.
func (p Port) Likely() bool {
	if p.VID == "" {
		return p.USB && hasBridgeName(p.Name)
	}
	return p.USB && slices.Contains(bridges, strings.ToUpper(p.VID))
}
