package main

import (
	"flag"
	"os"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"mealtab/flasher/ports"
)

var update = flag.Bool("update", false, "rewrite the golden parts of testdata/script and of the texts for owners")

func TestMain(m *testing.M) {
	// Nothing that a test does is kept where the owner of this computer keeps it.
	cache, err := os.MkdirTemp("", "mealtab-cache-")
	if err != nil {
		panic(err)
	}
	defer os.RemoveAll(cache)
	os.Setenv("XDG_CACHE_HOME", cache)
	testscript.Main(m, map[string]func(){"mealtab": main, "mealtab-on": mainOn})
}

// mainOn is mealtab on a computer whose serial ports the first argument lists: "/dev/ttyUSB0=1A86:7523,/dev/ttyS0=", each with the
// numbers of its USB device, if it is one.
func mainOn() {
	a := newApp(os.Stdin, os.Stdout, os.Stderr)
	a.ports = func() (list []ports.Port, err error) {
		for entry := range strings.SplitSeq(os.Args[1], ",") {
			name, device, _ := strings.Cut(entry, "=")
			vid, pid, usb := strings.Cut(device, ":")
			list = append(list, ports.Port{Name: name, USB: usb, VID: vid, PID: pid})
		}
		return list, nil
	}
	os.Exit(a.execute(os.Args[2:]))
}
