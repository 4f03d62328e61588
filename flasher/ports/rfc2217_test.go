package ports

import (
	"bufio"
	"bytes"
	"io"
	"net"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// server runs the port server of python3-serial, which was not written here, in front of a TCP listener. It returns the name of the port and
// what the server says has been done to it.
func server(t *testing.T, behind string) (name string, said func() string) {
	t.Helper()
	cmd := exec.Command("/usr/bin/python3", "testdata/rfc2217_server.py", behind)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	var errs bytes.Buffer
	cmd.Stderr = &errs
	require.NoError(t, cmd.Start())
	lines := bufio.NewReader(out)
	number, err := lines.ReadString('\n')
	require.NoError(t, err, "%s", &errs)
	return controlPrefix + "127.0.0.1:" + strings.TrimSpace(number), func() string {
		rest, err := io.ReadAll(lines) // until the server ends
		require.NoError(t, err)
		require.NoError(t, cmd.Wait(), "%s", &errs)
		return string(rest)
	}
}

// mirror sends back what comes.
func mirror(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go func() {
				io.Copy(c, c)
				c.Close()
			}()
		}
	}()
	return l.Addr().String()
}

// A port behind python3-serial's RFC 2217 server: rate and lines are set there, and every octet comes through both ways.
func TestPortBehindPySerial(t *testing.T) {
	name, said := server(t, mirror(t))
	l, err := Open(name, 57600)
	require.NoError(t, err)
	p := l.Transport()
	var all []byte
	for i := range 3 * 256 {
		all = append(all, byte(i), 0xFF, byte(i))
	}
	_, err = p.Write(all)
	require.NoError(t, err)
	require.NoError(t, p.SetBaud(19200)) // while octets are under way
	var back []byte
	for b := make([]byte, 100); len(back) < len(all); {
		n, err := p.Read(b, time.Minute)
		require.NoError(t, err)
		require.NotZero(t, n)
		back = append(back, b[:n]...)
	}
	require.Equal(t, all, back)
	require.NoError(t, p.Reset())
	n, err := p.Read(make([]byte, 10), 10*time.Millisecond)
	require.NoError(t, err)
	require.Zero(t, n)
	require.NoError(t, p.Close())
	require.Regexp(t, `(?s)bytesize 8\nparity N\nstopbits 1\n.*baudrate 57600\nbaudrate 19200\ndtr False\nrts False\ndtr True\nrts True\npurge\n(purge\n)?$`, said())
}

// A far end that only carries octets is told apart, and what would be right is said.
func TestPortThatIsNotControlled(t *testing.T) {
	for what, answer := range map[string]func(net.Conn){
		"refuses": func(c net.Conn) {
			_, _ = c.Write([]byte{telnetIAC, telnetDont, optionControl})
			_, _ = io.Copy(io.Discard, c)
		},
		"hangs up": func(c net.Conn) { c.Close() },
	} {
		t.Run(what, func(t *testing.T) {
			l, err := net.Listen("tcp", "127.0.0.1:0")
			require.NoError(t, err)
			defer l.Close()
			go func() {
				if c, err := l.Accept(); err == nil {
					answer(c)
				}
			}()
			_, err = Open(controlPrefix+l.Addr().String(), 57600)
			require.ErrorContains(t, err, "does not control its port by RFC 2217; if it only carries octets, use tcp:"+l.Addr().String())
		})
	}
}

// What is doubled is one again, however the network cuts it, and nothing that comes makes the decoder fail or grow.
func TestTelnet(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		data := rapid.SliceOf(rapid.Byte()).Draw(r, "data")
		sub := rapid.SliceOfN(rapid.Byte(), 0, mostSub).Draw(r, "sub")
		stream := append(doubled(data), telnetIAC, telnetSB)
		stream = append(append(stream, doubled(sub)...), telnetIAC, telnetSE, telnetIAC, telnetDo, optionControl)
		stream = append(stream, doubled(data)...)
		var d decoder
		var got, gotSub []byte
		options := 0
		for _, octet := range stream {
			switch e := d.next(octet); e.kind {
			case telnetData:
				got = append(got, e.octet)
			case telnetSub:
				gotSub = e.body
			case telnetOption:
				options++
				require.Equal(t, []byte{optionControl}, e.body)
			}
		}
		require.True(t, bytes.Equal(append(bytes.Clone(data), data...), got))
		require.True(t, bytes.Equal(sub, gotSub))
		require.Equal(t, 1, options)
	})
}

func FuzzTelnet(f *testing.F) {
	f.Add([]byte{telnetIAC, telnetSB, optionControl, 101, 0, 0, 0xE1, 0, telnetIAC, telnetSE, 'x', telnetIAC, telnetIAC})
	f.Fuzz(func(t *testing.T, stream []byte) {
		p := &controlled{replies: map[byte][]byte{}}
		for _, octet := range stream {
			p.octet(octet)
		}
		if len(p.data) > len(stream) || len(p.answers) > 2*len(stream) || len(p.telnet.sub) > mostSub {
			t.Fatal("more came out than went in")
		}
	})
}
