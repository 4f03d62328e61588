package ports

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/require"
)

// Lists as the three systems give them (names and order: from memory; vendor numbers invented where they stand for none).
func TestListed(t *testing.T) {
	for _, c := range []struct {
		goos         string
		found        []Port
		want, likely []string
	}{
		{"linux", []Port{
			{Name: "/dev/ttyS0"}, {Name: "/dev/ttyUSB10", USB: true, VID: "1a86"}, {Name: "/dev/ttyUSB2", USB: true, VID: "0403"}, {Name: "/dev/ttyACM0", USB: true, VID: "046D"},
		}, []string{"/dev/ttyACM0", "/dev/ttyUSB2", "/dev/ttyUSB10", "/dev/ttyS0"}, []string{"/dev/ttyUSB2", "/dev/ttyUSB10"}},
		{"darwin", []Port{
			{Name: "/dev/cu.Bluetooth-Incoming-Port"}, {Name: "/dev/cu.debug-console"}, {Name: "/dev/cu.usbserial-1410"}, {Name: "/dev/cu.usbmodem14101"}, {Name: "/dev/cu.wchusbserial1410"},
			{Name: "/dev/tty.Bluetooth-Incoming-Port"}, {Name: "/dev/tty.debug-console"}, {Name: "/dev/tty.usbserial-1410"}, {Name: "/dev/tty.usbmodem14101"}, {Name: "/dev/tty.wchusbserial1410"},
		}, []string{"/dev/cu.usbmodem14101", "/dev/cu.usbserial-1410", "/dev/cu.wchusbserial1410", "/dev/cu.Bluetooth-Incoming-Port", "/dev/cu.debug-console"},
			[]string{"/dev/cu.usbmodem14101", "/dev/cu.usbserial-1410", "/dev/cu.wchusbserial1410"}},
		{"windows", []Port{
			{Name: "COM1"}, {Name: "COM12", USB: true, VID: "1A86"}, {Name: "COM3", USB: true, VID: "10C4"}, {Name: "COM4", USB: true, VID: "046D"},
		}, []string{"COM3", "COM4", "COM12", "COM1"}, []string{"COM3", "COM12"}},
	} {
		list, err := listed(c.goos, func() ([]Port, error) { return c.found, nil })
		require.NoError(t, err)
		var names, likely []string
		for _, p := range list {
			names = append(names, p.Name)
			if p.Likely() {
				likely = append(likely, p.Name)
			}
		}
		require.Equal(t, c.want, names, c.goos)
		require.Equal(t, c.likely, likely, c.goos)
	}
	_, err := listed("linux", func() ([]Port, error) { return nil, errors.New("no /dev") })
	require.EqualError(t, err, "no /dev")
	require.Equal(t, "COM3", ShortName("COM3"))
	require.Equal(t, "cu.usbserial-1410", ShortName("/dev/cu.usbserial-1410"))
}

// Where no port appears, the driver question is asked where it can be the reason.
func TestNoPort(t *testing.T) {
	require.NotContains(t, NoPort("linux"), "driver")
	require.Contains(t, NoPort("windows"), "Device Manager")
	require.Contains(t, NoPort("darwin"), "driver")
}
