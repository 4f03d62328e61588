package ports

import (
	"errors"
	"fmt"
	"net"
	"os"
	"strconv"
	"strings"
	"time"

	"mealtab/flasher/link"
)

// tcpPrefix begins the name of a port that is a TCP connection: "tcp:HOST:PORT".
const tcpPrefix = "tcp:"

// TCPAddress is the host and port that such a name means.
func TCPAddress(name string) (address string, ok bool) {
	address, ok = strings.CutPrefix(name, tcpPrefix)
	return address, ok && tcpFault(address) == ""
}

// CheckName says what is wrong with a port's name that can be no port's, wherever it is looked for; nil: it may be one.
func CheckName(name string) error {
	if name == "" {
		return errors.New("the name of a port is missing, such as /dev/ttyUSB0, COM3 or tcp:127.0.0.1:4161")
	}
	for _, prefix := range []string{tcpPrefix, controlPrefix} {
		address, ok := strings.CutPrefix(name, prefix)
		if fault := tcpFault(address); ok && fault != "" {
			return fmt.Errorf("%s: a network port is %sHOST:PORT, such as %[2]s127.0.0.1:4161; %s", name, prefix, fault)
		}
	}
	return nil
}

// tcpFault says why an address is not HOST:PORT; "": it is.
func tcpFault(address string) string {
	host, port, err := net.SplitHostPort(address)
	var wrong *net.AddrError
	switch {
	case errors.As(err, &wrong) && wrong.Err == "too many colons in address":
		return "an IPv6 address stands in brackets: [::1]:4161"
	case err != nil && !strings.Contains(address, ":"):
		return "here the port is missing"
	case err != nil:
		return "here the address cannot be read"
	case host == "":
		return "here the host is missing"
	case port == "":
		return "here the port is missing"
	}
	if n, err := strconv.Atoi(port); err != nil || n < 1 || n > 0xFFFF || port[0] == '+' {
		return "the port is a number from 1 to 65535"
	}
	return ""
}

// dialTime is how long the far end of a connection may take to answer.
const dialTime = 5 * time.Second

// openTCP connects to a line behind a network: an emulated board, or a small computer that carries octets to a serial port. The far end has its rate
// and no reset line.
func openTCP(name string, baud int) (*link.Link, error) {
	if err := CheckName(name); err != nil {
		return nil, err
	}
	address, _ := TCPAddress(name)
	c, err := dial(name, address)
	if err != nil {
		return nil, err
	}
	return link.New(c, name, baud), nil
}

func dial(name, address string) (*connection, error) {
	c, err := net.DialTimeout("tcp", address, dialTime)
	if err != nil {
		var op *net.OpError
		if errors.As(err, &op) {
			err = op.Err
		}
		return nil, &OpenError{name, "nobody listens there (" + err.Error() + "); does the board, or the program that carries its line, run?"}
	}
	return &connection{c}, nil
}

// connection is a line as a TCP connection.
type connection struct{ net.Conn }

func (c *connection) Read(p []byte, wait time.Duration) (int, error) {
	if err := c.SetReadDeadline(time.Now().Add(wait)); err != nil {
		return 0, err
	}
	n, err := c.Conn.Read(p)
	if errors.Is(err, os.ErrDeadlineExceeded) {
		err = nil
	}
	return n, err
}

func (c *connection) Write(p []byte) (int, error) {
	if err := c.SetWriteDeadline(time.Now().Add(stuckAfter)); err != nil {
		return 0, err
	}
	n, err := c.Conn.Write(p)
	if errors.Is(err, os.ErrDeadlineExceeded) {
		err = link.ErrStuck
	}
	return n, err
}

func (c *connection) SetBaud(int) error     { return nil }
func (c *connection) Reset() error          { return link.ErrNoResetLine }
func (c *connection) Now() time.Time        { return time.Now() }
func (c *connection) Sleep(d time.Duration) { time.Sleep(d) }
