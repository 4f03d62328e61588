package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/emulator/board"
	"mealtab/flasher"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/link"
	"mealtab/flasher/ports"
)

// class is a room of emulated feeders at the ports desk1, desk2, …, with a list and two plans.
type class struct {
	t      *testing.T
	boards []*flashertest.Emulated
	dir    string
	plans  map[string][]byte // tables by the name of the plan
}

func newClass(t *testing.T, size int) *class {
	t.Setenv("TZ", "Europe/Lisbon")
	c := &class{t, make([]*flashertest.Emulated, size), t.TempDir(), map[string][]byte{}}
	for i := range c.boards {
		c.boards[i] = flashertest.New(t, "m328-mains", nil, nil)
	}
	for name, text := range map[string]string{"early.toml": planBefore, "late.toml": planAfter} {
		_, c.plans[name] = planFile(t, text)
		require.NoError(t, os.WriteFile(filepath.Join(c.dir, name), []byte(text), 0o644))
	}
	return c
}

func port(i int) string { return fmt.Sprintf("desk%d", i+1) }

// plan is that of a feeder: every third is late.
func (c *class) plan(i int) string {
	if i%3 == 2 {
		return "late.toml"
	}
	return "early.toml"
}

// list writes the list, with ports or without.
func (c *class) list(ports bool) string {
	var b strings.Builder
	b.WriteString("name,plan,port\n# a class (invented)\n")
	for i := range c.boards {
		fmt.Fprintf(&b, "feeder %d, %s", i+1, c.plan(i))
		if ports {
			b.WriteString(", " + port(i))
		}
		b.WriteString("\n")
	}
	file := filepath.Join(c.dir, "class.csv")
	require.NoError(c.t, os.WriteFile(file, []byte(b.String()), 0o644))
	return file
}

// run gives a command to all; the feeders not plugged in have no port.
func (c *class) run(code int, input string, plugged func(i int) bool, args ...string) (stdout, stderr string) {
	c.t.Helper()
	var out, errs bytes.Buffer
	a := newApp(strings.NewReader(input), &out, &errs)
	a.now = c.boards[0].Now()
	there := map[string]*flashertest.Emulated{}
	for i, b := range c.boards {
		if plugged(i) {
			there[port(i)] = b
		}
	}
	a.ports = func() (list []ports.Port, err error) {
		for i := range c.boards {
			if plugged(i) {
				list = append(list, ports.Port{Name: port(i), USB: true, VID: "1A86", PID: "7523"})
			}
		}
		return list, nil
	}
	a.openPort = func(name string, baud int) (*link.Link, error) {
		b, ok := there[name]
		if !ok {
			return nil, &ports.OpenError{Port: name, Reason: "there is no such port"}
		}
		return link.New(b, name, baud), b.SetBaud(baud)
	}
	require.Equal(c.t, code, a.execute(args), "%s\n%s", &out, &errs)
	return out.String(), errs.String()
}

// holds asks a feeder itself.
func (c *class) holds(i int) (tab []byte, name string) {
	c.t.Helper()
	f, err := flasher.Connect(c.boards[i].Link(port(i)))
	require.NoError(c.t, err)
	st, err := f.Status()
	require.NoError(c.t, err)
	name, err = f.Name(st)
	require.NoError(c.t, err)
	if tab, err = f.Table(st); err != nil {
		require.ErrorIs(c.t, err, flasher.ErrNoTable)
	}
	return tab, name
}

func all(int) bool { return true }

// A class names its feeders by their ports once; afterwards the names find them, wherever they are plugged in. What is missing or torn out holds up
// nobody, and the same command goes on where it ended.
func TestUploadToAClass(t *testing.T) {
	const size = 30
	c := newClass(t, size)
	absent := func(i int) bool { return i != 4 }

	out, errs := c.run(1, "y\n", absent, "upload", "--list", c.list(true), "--rehearse", "0")
	require.Contains(t, out, "Put these plans on 29 feeders? [y/N]")
	require.Regexp(t, `feeder 5 +is left out: .*desk5`, out)
	require.Contains(t, errs, "29 of 30 feeders have their plan; give the same command again")
	require.Regexp(t, `feeder 3 +\d+ bytes read back and in force`, flat(out))
	require.LessOrEqual(t, strings.Count(out, "\n"), 4*size, "a line or two for each of two looks")
	for i := range c.boards {
		tab, name := c.holds(i)
		if i == 4 {
			assert.Empty(t, name)
			assert.Nil(t, tab)
			continue
		}
		assert.Equal(t, fmt.Sprintf("feeder %d", i+1), name)
		assert.True(t, flasher.Holds(tab, c.plans[c.plan(i)]), "feeder %d", i+1)
	}

	// Plugged in at other ports. One has no name yet; one loses its supply in the middle; two others swap their plans in the list.
	c.boards[0], c.boards[1] = c.boards[1], c.boards[0]
	file := c.list(false)
	src, err := os.ReadFile(file)
	require.NoError(t, err)
	edited := strings.NewReplacer("feeder 2, early", "feeder 2, late", "feeder 9, late", "feeder 9, early").Replace(string(src))
	require.NoError(t, os.WriteFile(file, []byte(edited), 0o644))
	out, errs = c.run(1, "", all, "upload", "--list", file, "--yes", "--rehearse", "0")
	require.Contains(t, flat(out), "feeder 5 is left out: no feeder with the name feeder 5 was found")
	require.Contains(t, errs, "desk5: the feeder has no name, and the list does not name its port: left alone")
	require.Equal(t, 2, strings.Count(flat(out), "bytes read back and in force"), out)
	require.Equal(t, 27, strings.Count(flat(out), "left as it is"), out)
	tab, name := c.holds(0) // at desk1 now
	require.Equal(t, "feeder 2", name)
	require.True(t, flasher.Holds(tab, c.plans["late.toml"]))
	tab, _ = c.holds(8)
	require.True(t, flasher.Holds(tab, c.plans["early.toml"]))
}

// A feeder torn out in the middle keeps its old plan or has the new one, whole, and says which when the command is given again.
func TestUploadToAClassTornOut(t *testing.T) {
	c := newClass(t, 3)
	file := c.list(true)
	c.run(0, "", all, "upload", "--list", file, "--yes", "--rehearse", "0")
	src, err := os.ReadFile(file)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(file, []byte(strings.ReplaceAll(string(src), "early", "late")), 0o644))

	c.boards[1].Unplugged = true
	c.run(1, "", all, "upload", "--list", file, "--yes", "--rehearse", "0")
	c.boards[1].Unplugged = false
	tab, name := c.holds(1)
	require.Equal(t, "feeder 2", name)
	require.True(t, flasher.Holds(tab, c.plans["early.toml"]))
	tab, _ = c.holds(0)
	require.True(t, flasher.Holds(tab, c.plans["late.toml"]), "the others go on")

	out, _ := c.run(0, "", all, "upload", "--list", file, "--yes", "--rehearse", "0")
	require.Equal(t, 1, strings.Count(flat(out), "bytes read back and in force"), out)
	tab, _ = c.holds(1)
	require.True(t, flasher.Holds(tab, c.plans["late.toml"]))
}

// Two feeders of one name are told apart by their ports, or left alone.
func TestUploadToTwinsOfOneName(t *testing.T) {
	c := newClass(t, 2)
	for i := range c.boards {
		c.run(0, "", all, "upload", filepath.Join(c.dir, "early.toml"), "--name", "twin", "--port", port(i), "--yes", "--rehearse", "0")
	}
	file := filepath.Join(c.dir, "twins.csv")
	require.NoError(t, os.WriteFile(file, []byte("twin, late.toml\n"), 0o644))
	out, _ := c.run(1, "", all, "upload", "--list", file, "--yes", "--rehearse", "0")
	require.Contains(t, flat(out), "two feeders have this name, on desk1 and desk2: say in the list which port is meant")
	for i := range c.boards {
		tab, _ := c.holds(i)
		require.True(t, flasher.Holds(tab, c.plans["early.toml"]), "nothing was written")
	}
}

func TestListsThatAreNone(t *testing.T) {
	for _, v := range []struct{ text, want string }{
		{"", "there is no feeder in it"},
		{"name,plan\n", "there is no feeder in it"},
		{"kitchen\n", `list.csv:1: a line has a feeder's name, its plan and perhaps its port, between commas; this one has 1 part`},
		{"a, early.toml, x, y\n", "this one has 4 parts"},
		{"# a class\n\nkitchen, early.toml\nkitchen, late.toml\n", "list.csv:4: kitchen is on line 3 already"},
		{"a, early.toml, p\nb, early.toml, p\n", "list.csv:2: the port p is on line 1 already"},
		{strings.Repeat("x", 23) + ", early.toml\n", "list.csv:1: the name"},
		{"kitchen, \n", "list.csv:1: kitchen has no plan"},
		{", early.toml\n", "list.csv:1: a feeder's name is not empty"},
		{"\"a\", \"b\n", "list.csv: "},
	} {
		_, err := readRows("list.csv", []byte(v.text))
		require.ErrorContains(t, err, v.want, "%q", v.text)
	}
	rows, err := readRows("dir/list.csv", []byte("\uFEFFName,Plan,Port\r\nKüche, early.toml\r\nb, /x/late.toml, COM7\r\n"))
	require.NoError(t, err)
	require.Equal(t, []row{{2, "Küche", filepath.Join("dir", "early.toml"), ""}, {3, "b", "/x/late.toml", "COM7"}}, rows)
}

// A name is told before it is written, kept by later uploads, and stands in status and among the ports.
func TestNameOfAFeeder(t *testing.T) {
	h := newHome(t, nil, func(*board.Config) {})
	before, _ := planFile(t, planBefore)
	after, _ := planFile(t, planAfter)
	out, _ := h.run(0, "y\n", "upload", before, "--port", "desk", "--name", "kitchen", "--rehearse", "0")
	require.Contains(t, out, "  name       kitchen\n")
	out, _ = h.run(0, "", "upload", after, "--port", "desk", "--yes", "--rehearse", "0")
	require.Contains(t, out, "  name       kitchen\n")
	out, _ = h.run(0, "", "status", "--port", "desk")
	require.Contains(t, out, "  name     kitchen\n")
	out, _ = h.run(0, "y\n", "upload", after, "--port", "desk", "--name", "cellar", "--rehearse", "0") // the same plan under another name
	require.Contains(t, out, "  name       cellar, was kitchen\n")
	require.Contains(t, out, "read back and put in force")
	out, _ = h.run(0, "", "upload", after, "--port", "desk", "--name", "cellar", "--rehearse", "0")
	require.NotContains(t, out, "put in force", "nothing to do, nothing asked")
	_, errs := h.run(2, "", "upload", after, "--port", "desk", "--name", strings.Repeat("é", 12), "--rehearse", "0")
	require.Contains(t, errs, "has 24 bytes; a feeder keeps 22")
	_, errs = h.run(2, "", "upload", after, "--all", "--name", "cellar")
	require.Contains(t, errs, "--name names one feeder")
}
