package ports

import "go.bug.st/serial"

// system is the list as the system has it. What is behind the ports it tells only to programs built with its own C library.
func system() ([]Port, error) {
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
