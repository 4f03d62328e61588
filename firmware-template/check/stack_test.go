package check

import (
	"bufio"
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"sort"
	"strconv"
	"strings"
	"testing"

	"mealtab/compiler/profile"
)

// The deepest stack of a board's firmware, from the linked program itself: every function's pushes, frame and calls are read from the
// disassembly and added along the call graph; the deepest interrupt is added to the deepest path of main. An indirect
// call may go to any function whose address is taken.
//
// RAM: static data and bss by avr-size. The limit is the project's, for the smaller chip's 1,024 bytes.
func TestStack(t *testing.T) {
	for _, b := range profile.Boards() {
		const ram = 900
		elf := filepath.Join(built, b.Name+".elf")
		if out, err := exec.Command("make", "-s", "-C", "..", "WORK="+built, elf).CombinedOutput(); err != nil {
			t.Errorf("%s: %v\n%s", b.Name, err, out)
			continue
		}
		g := readCallGraph(t, elf)
		main, path := g.deepest("main")
		interrupt, isr := g.deepestInterrupt()
		static := staticRAM(t, elf)
		t.Logf("%s: static %d + main %d + interrupt %d (%s) = %d bytes; deepest: %s", b.Name, static, main, interrupt, isr, static+main+interrupt, strings.Join(path, " > "))
		if total := static + main + interrupt; total > ram {
			t.Errorf("%s needs %d bytes of RAM, the limit is %d", b.Name, total, ram)
		}
	}
}

// node is one function of the program.
type node struct {
	own    int // bytes pushed and reserved, without return address
	calls  map[string]bool
	any    bool // calls through a pointer
	framed bool // while reading: a frame may be about to be reserved
}

type callGraph struct {
	t     testing.TB
	nodes map[string]*node
	taken []string // functions that a pointer may lead to
}

var (
	functionLine = regexp.MustCompile(`^[0-9a-f]+ <(.+)>:$`)
	callLine     = regexp.MustCompile(`\t(r?call|r?jmp|br\w+)\t.*<([^>+]+)(\+0x[0-9a-f]+)?>`)
	reserveLine  = regexp.MustCompile(`\tsbiw\tr28, 0x([0-9a-f]+)`)
	subLine      = regexp.MustCompile(`\tsubi\tr28, 0x([0-9a-f]+)`)
	loadLine     = regexp.MustCompile(`\tldi\tr(26|27), 0x([0-9a-f]+)`)
)

func readCallGraph(t testing.TB, elf string) *callGraph {
	out, err := exec.Command("avr-objdump", "-d", "--no-show-raw-insn", elf).Output()
	if err != nil {
		t.Fatal(err)
	}
	g := &callGraph{t: t, nodes: map[string]*node{}}
	var n *node
	name, frame := "", 0
	scan := bufio.NewScanner(bytes.NewReader(out))
	for scan.Scan() {
		line := scan.Text()
		if m := functionLine.FindStringSubmatch(line); m != nil {
			name, frame = m[1], 0
			n = &node{calls: map[string]bool{}}
			g.nodes[name] = n
			continue
		}
		if n != nil {
			g.instruction(n, name, line, &frame)
		}
	}
	g.taken = takenAddresses(t, elf)
	return g
}

// instruction adds what one line of the disassembly does to the stack. Prologues by library push r2 to r17, r28 and r29 from an entry
// that the jump names by its offset, and reserve the bytes in X.
func (g *callGraph) instruction(n *node, name, line string, frame *int) {
	switch {
	case strings.Contains(line, "\tpush\t"):
		n.own++
	case strings.Contains(line, "\trcall\t.+0 "):
		n.own += 2 // reserves two bytes
	case strings.Contains(line, "\ticall"):
		n.any = true
	}
	if strings.Contains(line, "\tin\tr28, 0x3d") {
		n.framed = true // the stack pointer comes into Y; what is subtracted next is the frame
	}
	for _, re := range []*regexp.Regexp{reserveLine, subLine} {
		if m := re.FindStringSubmatch(line); m != nil && n.framed {
			n.own += hexValue(m[1])
			n.framed = false
		}
	}
	if m := loadLine.FindStringSubmatch(line); m != nil && m[1] == "26" {
		*frame = hexValue(m[2])
	}
	m := callLine.FindStringSubmatch(line)
	if m == nil || m[2] == name {
		return
	}
	switch {
	case m[2] == "__prologue_saves__":
		skipped := 0
		if m[3] != "" {
			skipped = hexValue(m[3][3:]) / 2
		}
		n.own += 18 - skipped + *frame
	case !strings.HasPrefix(m[2], "__epilogue_restores__"):
		n.calls[m[2]] = true
	}
}

func hexValue(s string) int {
	v, _ := strconv.ParseInt(s, 16, 32)
	return int(v)
}

// takenAddresses are the functions whose word address stands in the initialised data.
func takenAddresses(t testing.TB, elf string) (names []string) {
	symbols, err := exec.Command("avr-nm", elf).Output()
	if err != nil {
		t.Fatal(err)
	}
	raw := filepath.Join(filepath.Dir(elf), "data.bin")
	if out, err := exec.Command("avr-objcopy", "-O", "binary", "-j", ".data", elf, raw).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	data, err := os.ReadFile(raw)
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Split(string(symbols), "\n") {
		f := strings.Fields(line)
		if len(f) != 3 || strings.ToLower(f[1]) != "t" || strings.HasPrefix(f[2], "_") {
			continue
		}
		word := hexValue(f[0]) / 2
		for i := 0; i+1 < len(data); i++ {
			if int(data[i])|int(data[i+1])<<8 == word {
				names = append(names, f[2])
				break
			}
		}
	}
	sort.Strings(names)
	return names
}

// deepest is the most stack that a function and all it calls can use, return address included, and the path to it.
func (g *callGraph) deepest(name string) (bytes int, path []string) {
	return g.walk(name, map[string]bool{})
}

func (g *callGraph) walk(name string, above map[string]bool) (deep int, path []string) {
	n := g.nodes[name]
	if n == nil {
		return 2, []string{name}
	}
	if above[name] {
		// libgcc's division jumps back to a label of its own, which looks like a call of itself
		if !strings.HasPrefix(name, "__") {
			g.t.Errorf("recursion through %s", name)
		}
		return 0, nil
	}
	above[name] = true
	defer delete(above, name)
	callees := make([]string, 0, len(n.calls))
	for c := range n.calls {
		callees = append(callees, c)
	}
	if n.any {
		callees = append(callees, g.taken...)
	}
	for _, c := range callees {
		if d, p := g.walk(c, above); d > deep {
			deep, path = d, p
		}
	}
	return n.own + 2 + deep, append([]string{fmt.Sprintf("%s %d", name, n.own+2)}, path...)
}

func (g *callGraph) deepestInterrupt() (deep int, name string) {
	for f := range g.nodes {
		if strings.HasPrefix(f, "__vector_") && f != "__vector_default" {
			if d, _ := g.deepest(f); d > deep {
				deep, name = d, f
			}
		}
	}
	return deep, name
}

func staticRAM(t testing.TB, elf string) int {
	out, err := exec.Command("avr-size", elf).Output()
	if err != nil {
		t.Fatal(err)
	}
	f := strings.Fields(strings.Split(string(out), "\n")[1])
	data, _ := strconv.Atoi(f[1])
	bss, _ := strconv.Atoi(f[2])
	return data + bss
}
