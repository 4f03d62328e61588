package main

import (
	"bufio"
	"bytes"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/cmd/mealtab/internal/running"
	"mealtab/flasher/ports"
)

// An emulated board listens on a TCP port of this computer too: ports lists it, the other commands talk to it, several at a time, and when it
// ends it is on no list any more. A file that a killed board has left is removed.
func TestBoardOverTCP(t *testing.T) {
	t.Setenv("XDG_CACHE_HOME", t.TempDir())
	t.Setenv("HOME", t.TempDir())
	planName, _ := planFile(t, planBefore)
	commands, typed := io.Pipe()
	said, out := io.Pipe()
	ended := make(chan int)
	go func() { ended <- newApp(commands, out, io.Discard).execute([]string{"board", planName}) }()
	lines := bufio.NewReader(said)
	port := ""
	for !strings.HasPrefix(port, "tcp:") {
		line, err := lines.ReadString('\n')
		require.NoError(t, err)
		port = strings.TrimSpace(strings.TrimPrefix(line, "the feeder is at "))
	}
	require.Regexp(t, `^tcp:127\.0\.0\.1:\d+$`, port)
	go func() { _, _ = io.Copy(io.Discard, lines) }()

	run := func(args ...string) string {
		var out, errs bytes.Buffer
		a := newApp(nil, &out, &errs)
		a.ports = func() ([]ports.Port, error) { return nil, errNoPorts }
		require.Equal(t, exitGood, a.execute(args), errs.String())
		return out.String()
	}
	require.Regexp(t, "^"+port+" +emulated board +feeder: m328-mains, firmware \\d+\n$", run("ports"))
	listed, err := portsAndBoards() // the page's, whatever it says of this computer's own ports
	require.Contains(t, listed, ports.Port{Name: port, Product: "emulated board"}, "%v", err)
	other, err := ports.Open(port, 57600) // which says nothing, and is told everything
	require.NoError(t, err)
	defer other.Close()
	require.Contains(t, run("status", "--port", port), "board    m328-mains on "+port)
	require.Contains(t, run("compare", planName, port, "--from", "today"), "feed the same") // from a wish to the feeder
	require.Contains(t, run("skip", planName, "tomorrow"), "is written")
	require.Contains(t, run("check", planName, "--since", port), "2 servings differ")
	run("upload", planName, "--port", port, "--yes", "--rehearse", "1")
	require.Contains(t, run("compare", planName, port, "--from", "today"), "feed the same")
	require.Contains(t, run("skip", planName, "tomorrow", "--undo", "--upload", "--port", port, "--yes"), "Served again")
	require.Contains(t, run("compare", planName, port, "--from", "today"), "feed the same")

	// Behind a port server of another make.
	server := exec.Command("/usr/bin/python3", "../../flasher/ports/testdata/rfc2217_server.py", strings.TrimPrefix(port, "tcp:"))
	serverSaid, err := server.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, server.Start())
	defer func() { _ = server.Process.Kill(); _ = server.Wait() }()
	number, err := bufio.NewReader(serverSaid).ReadString('\n')
	require.NoError(t, err)
	behind := "rfc2217:127.0.0.1:" + strings.TrimSpace(number)
	require.Contains(t, run("status", "--port", behind), "board    m328-mains on "+behind)

	cache, err := os.UserCacheDir()
	require.NoError(t, err)
	left := filepath.Join(cache, "mealtab", "boards", "board-1")
	for _, text := range []string{"tcp:127.0.0.1:1\n", "tcp:192.0.2.1:4161\n", "nonsense"} {
		require.NoError(t, os.WriteFile(left, []byte(text), 0o600))
		require.Len(t, running.Boards(), 1)
	}

	_, err = io.WriteString(typed, "quit\n")
	require.NoError(t, err)
	require.Equal(t, exitGood, <-ended)
	require.Empty(t, running.Boards())
	_, errs := newHome(t, nil, nil).run(1, "", "status", "--port", port)
	require.Contains(t, errs, port+": nobody listens there (")
}

// A name that can be no port's is wrong usage, of every command that takes one, and is said before anything else: there is no plan here.
func TestNameOfANetworkPort(t *testing.T) {
	commands := map[string][]string{}
	for _, cmd := range newApp(nil, nil, nil).rootCommand().Commands() {
		if flag := cmd.Flags().Lookup("port"); flag != nil && flag.Value.Type() != "int" {
			commands[cmd.Name()] = nil
		}
	}
	for needsPlan, more := range map[string][]string{"upload": nil, "hopper": nil, "chart": nil, "skip": {"tomorrow"}, "move": {"tomorrow", "20:00"}, "extra": {"tomorrow", "10 g"}} {
		commands[needsPlan] = append([]string{"there-is-none.toml"}, more...)
	}
	require.Greater(t, len(commands), 9)
	faults := map[string]string{
		"tcp:": "here the port is missing", "tcp:4161": "here the port is missing", "tcp::4161": "here the host is missing", "tcp:localhost:": "here the port is missing",
		"tcp:localhost:http": "the port is a number from 1 to 65535", "tcp:localhost:0": "the port is a number from 1 to 65535", "tcp:localhost:65536": "the port is a number from 1 to 65535",
		"tcp:localhost:+80": "the port is a number from 1 to 65535", "tcp:::1:4161": "an IPv6 address stands in brackets: [::1]:4161", "tcp:[::1:4161": "here the address cannot be read",
		"rfc2217:": "here the port is missing", "rfc2217::7": "here the host is missing",
	}
	for command, args := range commands {
		for name, fault := range faults {
			kind := name[:strings.Index(name, ":")+1]
			_, errs := newHome(t, nil, nil).run(2, "", append([]string{command, "--port", name}, args...)...)
			require.Equal(t, "mealtab "+command+": --port: "+name+": a network port is "+kind+"HOST:PORT, such as "+kind+"127.0.0.1:4161; "+fault+"\nTry: mealtab "+command+" --help\n", errs)
		}
		_, errs := newHome(t, nil, nil).run(2, "", append([]string{command, "--port", ""}, args...)...)
		require.Contains(t, errs, "--port: the name of a port is missing, such as /dev/ttyUSB0")
	}
}

// A TCP port that is taken is named in plain words, before the feeder is said to be anywhere.
func TestBoardSaysThatItsPortIsTaken(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer taken.Close()
	_, port, err := net.SplitHostPort(taken.Addr().String())
	require.NoError(t, err)
	var out, errs bytes.Buffer
	require.Equal(t, exitFailed, newApp(strings.NewReader(""), &out, &errs).execute([]string{"board", "--tcp", port, "--for", "1s", "--speed", "100"}))
	require.Equal(t, "mealtab board: --tcp "+port+": another program listens on that port; without --tcp a free one is taken\n", errs.String())
	require.Empty(t, out.String())
}

// The four lines of the README's quick start go all the way, as they stand there but for the number of the port, which may be taken.
func TestReadmeQuickStartWithoutHardware(t *testing.T) {
	t.Setenv("XDG_CACHE_HOME", t.TempDir())
	t.Setenv("HOME", t.TempDir())
	free, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	_, number, err := net.SplitHostPort(free.Addr().String())
	require.NoError(t, err)
	require.NoError(t, free.Close())
	plan, _ := planFile(t, string(demoPlan))
	quick := section(t, readme(t), "## Quick start", "## Commands")
	var lines [][]string
	for line := range strings.Lines(quick) {
		if words := strings.Fields(line); strings.HasPrefix(line, "    mealtab ") && strings.Contains(line, "4161") {
			for i := range words {
				words[i] = strings.NewReplacer("4161", number, "plan.toml", plan).Replace(words[i])
			}
			lines = append(lines, words[1:])
		}
	}
	require.Len(t, lines, 4)

	commands, typed := io.Pipe()
	said, out := io.Pipe()
	ended := make(chan int)
	go func() {
		ended <- newApp(commands, out, io.Discard).execute(lines[0])
		out.Close()
	}()
	log := bufio.NewScanner(said)
	for log.Scan() && !strings.HasPrefix(log.Text(), "the feeder is at tcp:") {
	}
	told := make(chan string)
	go func() {
		var all strings.Builder
		for log.Scan() {
			all.WriteString(log.Text() + "\n")
		}
		told <- all.String()
	}()
	run := func(args []string) string {
		var out, errs bytes.Buffer
		require.Equal(t, exitGood, newApp(strings.NewReader("y\n"), &out, &errs).execute(args), errs.String())
		return out.String()
	}
	require.Contains(t, run(lines[1]), "read back and put in force")
	_, err = io.WriteString(typed, "press feed\n")
	require.NoError(t, err)
	require.Contains(t, run(lines[2]), "  plan     Juniper and Moss\n")
	require.Contains(t, run(lines[3]), "a new table came in force, number 1\n")
	_, err = io.WriteString(typed, "quit\n")
	require.NoError(t, err)
	require.Equal(t, exitGood, <-ended)
	require.Contains(t, <-told, "next would be ")
}
