//go:build !darwin

package ports

import "go.bug.st/serial/enumerator"

// system is the list as the system has it.
func system() ([]Port, error) {
	found, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, err
	}
	var list []Port
	for _, d := range found {
		list = append(list, Port{d.Name, d.IsUSB, d.VID, d.PID, d.SerialNumber, d.Product})
	}
	return list, nil
}
