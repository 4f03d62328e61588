package ports

import (
	"cmp"
	"path"
	"runtime"
	"slices"
	"strconv"
	"strings"
)

// lister is a system's own list of serial ports.
type lister func() ([]Port, error)

// List lists the serial ports of this computer, those on USB first: on them a board is likely.
func List() ([]Port, error) { return listed(runtime.GOOS, system) }

// listed puts in order what a system lists; goos names it as the Go toolchain does: linux, darwin, windows.
func listed(goos string, list lister) ([]Port, error) {
	found, err := list()
	if err != nil {
		return nil, err
	}
	var ports []Port
	for _, p := range found {
		if goos == "darwin" {
			// Each port is there twice; tty. waits in open until somebody calls in (carrier detect), cu. is for calling out (tty(4), from memory).
			if strings.HasPrefix(path.Base(p.Name), "tty.") {
				continue
			}
			p.USB = p.USB || hasBridgeName(p.Name)
		}
		ports = append(ports, p)
	}
	slices.SortStableFunc(ports, func(a, b Port) int {
		if a.USB != b.USB {
			if a.USB {
				return -1
			}
			return 1
		}
		return byNumber(a.Name, b.Name)
	})
	return ports, nil
}

// bridgeNames begin the names that macOS gives to ports of USB bridges and of boards that are their own bridge (from memory). It does not tell
// their vendors to a program without its C library.
var bridgeNames = []string{"cu.usbserial", "cu.usbmodem", "cu.wchusbserial", "cu.SLAB_USBtoUART"}

func hasBridgeName(name string) bool {
	return slices.ContainsFunc(bridgeNames, func(head string) bool { return strings.HasPrefix(path.Base(name), head) })
}

// byNumber orders COM3 before COM12.
func byNumber(a, b string) int {
	split := func(name string) (string, int) {
		head := strings.TrimRight(name, "0123456789")
		n, _ := strconv.Atoi(name[len(head):])
		return head, n
	}
	headA, a1 := split(a)
	headB, b1 := split(b)
	return cmp.Or(cmp.Compare(headA, headB), cmp.Compare(a1, b1), cmp.Compare(a, b))
}

// NoPort says what to look at where a board's port does not appear: cable and driver.
func NoPort(goos string) string {
	const cable = "is the board plugged in, and does the cable carry data? A cable for charging only makes no port appear"
	switch goos {
	case "windows":
		return cable + ". Else the Device Manager shows the board as a device without a driver: install that of its USB bridge's maker"
	case "darwin":
		return cable + ". Else the USB bridge may want its maker's driver, to be allowed in the system settings"
	}
	return cable
}
