package link

import "go.bug.st/serial"

// Ports lists the serial ports. What is behind them the system tells only to programs built with its own C library.
func Ports() ([]Port, error) {
	names, err := serial.GetPortsList()
	if err != nil {
		return nil, err
	}
	var list []Port
	for _, name := range names {
		list = append(list, Port{Name: name})
	}
	return list, nil
}
