//go:build !darwin

package link

import (
	"slices"

	"go.bug.st/serial/enumerator"
)

// Ports lists the serial ports, those on USB first: on them a board is likely.
func Ports() ([]Port, error) {
	found, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, err
	}
	var list []Port
	for _, d := range found {
		list = append(list, Port{d.Name, d.IsUSB, d.VID, d.PID, d.SerialNumber, d.Product})
	}
	slices.SortStableFunc(list, func(a, b Port) int {
		switch {
		case a.USB == b.USB:
			return 0
		case a.USB:
			return -1
		}
		return 1
	})
	return list, nil
}
