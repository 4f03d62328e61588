// Command layout chooses the order in which the firmware's functions lie in flash. In: linked programs (ELF), as many as there
// are boards. Out: a linker script for `ld -T` on standard output.
//
// A call by RCALL reaches 2,048 words either way and takes two bytes, by CALL four (AVR instruction set manual); the linker
// shortens what is near. The order is found by simulated annealing on the number of calls that are too far, over all programs,
// from a fixed seed: the same programs give the same script. Names that are not in it lie behind, so that a stale script costs
// bytes, never correctness.
package main

import (
	"bufio"
	"bytes"
	"fmt"
	"log"
	"math"
	"math/rand"
	"os"
	"os/exec"
	"regexp"
	"strconv"
	"strings"
)

func main() {
	log.SetFlags(0)
	if len(os.Args) < 2 {
		log.Fatal("usage: layout program.elf... > layout.ld")
	}
	var l layout
	l.index = map[string]int{}
	for _, path := range os.Args[1:] {
		if err := l.read(path); err != nil {
			log.Fatalf("layout: %s: %v", path, err)
		}
	}
	before := l.far(l.start())
	order := l.search(2_000_000)
	log.Printf("%d of %d calls were too far, %d are", before, l.calls(), l.far(order))
	l.write(os.Stdout, order)
}

// reach of RCALL and RJMP in bytes, less what the linker's own rounding may take.
const reach = 4090

// call is one call or jump to another section: how far into the caller it stands, in bytes.
type call struct{ from, at, to int }

// program is one board's: bytes of each section (0: not in it) and calls between them.
type program struct {
	size  []int
	calls []call
}

// layout knows the sections by number.
type layout struct {
	names    []string
	index    map[string]int
	programs []program
}

var (
	function = regexp.MustCompile(`^([0-9a-f]+) <([^>]+)>:$`)
	transfer = regexp.MustCompile(`^ *([0-9a-f]+):\t(r?call|r?jmp)\t.*; 0x([0-9a-f]+) `)
	suffix   = regexp.MustCompile(`\.(lto_priv|constprop|isra|part)\b.*`)
)

// libraries are the sections of libgcc and avr-libc, by the names of their functions.
var libraries = []struct {
	name    *regexp.Regexp
	section string
}{
	{regexp.MustCompile(`^__(prologue_saves|epilogue_restores)__$`), "libgcc.prologue"},
	{regexp.MustCompile(`^__u?div`), "libgcc.div"},
	{regexp.MustCompile(`^__\w*mul`), "libgcc.mul"},
	{regexp.MustCompile(`^__tablejump`), "libgcc"},
	{regexp.MustCompile(`^mem(cmp|cpy|set)$`), "avr-libc"},
	{regexp.MustCompile(`^([.]|__[^v]|__vectors$|_[^_]|power_early$)`), ""}, // the start-up code
}

// section is the input section of a function behind ".text.", without what link-time optimisation adds to the name; "" for
// those that stay where the start-up code is.
func section(name string) string {
	for _, l := range libraries {
		if l.name.MatchString(name) {
			return l.section
		}
	}
	return suffix.ReplaceAllString(name, "")
}

// number is the index of a section, which is added if it is new.
func (l *layout) number(section string) int {
	i, ok := l.index[section]
	if !ok {
		i = len(l.names)
		l.index[section] = i
		l.names = append(l.names, section)
	}
	return i
}

// read adds the program in an ELF file.
func (l *layout) read(path string) error {
	text, err := exec.Command("avr-objdump", "-d", "--no-show-raw-insn", path).Output()
	if err != nil {
		return err
	}
	owner := map[int][2]int{} // section and offset by address
	var jumps [][2]int
	size := map[int]int{}
	current, scan := -1, bufio.NewScanner(bytes.NewReader(text))
	for scan.Scan() {
		line := scan.Text()
		if m := function.FindStringSubmatch(line); m != nil {
			current = -1
			if s := section(m[2]); s != "" {
				current = l.number(s)
			}
			continue
		}
		at, _, found := strings.Cut(strings.TrimSpace(line), ":")
		address, err := strconv.ParseInt(at, 16, 32)
		if !found || err != nil || current < 0 {
			continue
		}
		if _, seen := owner[int(address)]; !seen {
			owner[int(address)] = [2]int{current, size[current]}
			size[current] += 2
		}
		if m := transfer.FindStringSubmatch(line); m != nil {
			to, _ := strconv.ParseInt(m[3], 16, 32)
			jumps = append(jumps, [2]int{int(address), int(to)})
		}
	}
	p := program{size: make([]int, 0, len(l.names))}
	for i := range l.names {
		p.size = append(p.size, size[i])
	}
	for _, j := range jumps {
		from, ok1 := owner[j[0]]
		to, ok2 := owner[j[1]]
		if ok1 && ok2 && from[0] != to[0] {
			p.calls = append(p.calls, call{from[0], from[1] - to[1], to[0]})
		}
	}
	l.programs = append(l.programs, p)
	return nil
}

// start is the order in which the sections were met.
func (l *layout) start() []int {
	order := make([]int, len(l.names))
	for i := range order {
		order[i] = i
	}
	return order
}

func (l *layout) calls() (n int) {
	for _, p := range l.programs {
		n += len(p.calls)
	}
	return n
}

// far counts the calls that do not reach in an order, over all programs.
func (l *layout) far(order []int) (n int) {
	place := make([]int, len(l.names))
	for _, p := range l.programs {
		at := 0
		for _, i := range order {
			place[i] = at
			if i < len(p.size) {
				at += p.size[i]
			}
		}
		for _, c := range p.calls {
			if d := place[c.to] - place[c.from] - c.at; d > reach || d < -reach {
				n++
			}
		}
	}
	return n
}

// search anneals: it moves one section at a time and keeps what is better, or worse by less and less.
func (l *layout) search(steps int) []int {
	random := rand.New(rand.NewSource(1))
	order := l.start()
	cost := l.far(order)
	best, least := append([]int(nil), order...), cost
	next := make([]int, len(order))
	for step := range steps {
		heat := 6 * (1 - float64(step)/float64(steps))
		move(next, order, random.Intn(len(order)), random.Intn(len(order)))
		c := l.far(next)
		if c > cost && random.Float64() >= math.Exp(float64(cost-c)/(heat+1e-9)) {
			continue
		}
		order, next, cost = next, order, c
		if c < least {
			least = c
			copy(best, order)
		}
	}
	return best
}

// move copies an order with the section at one place moved to another.
func move(to, from []int, a, b int) {
	copy(to, from)
	moved := to[a]
	if a < b {
		copy(to[a:b], to[a+1:b+1])
	} else {
		copy(to[b+1:a+1], to[b:a])
	}
	to[b] = moved
}

func (l *layout) write(w *os.File, order []int) {
	fmt.Fprint(w, `/* Written by "make layout"; see layout/main.go. Functions that call each other lie near each other: a near call takes two bytes
 * less. Names that are missing here lie behind; names that no longer exist do no harm. */
SECTIONS
{
  .layout :
  {
`)
	for _, i := range order {
		n := l.names[i]
		if strings.Contains(n, "libgcc") || n == "avr-libc" {
			fmt.Fprintf(w, "    *(.text.%s)\n", n)
		} else {
			fmt.Fprintf(w, "    *(.text.%s .text.%s.*)\n", n, n)
		}
	}
	fmt.Fprint(w, "  }\n}\nINSERT AFTER .text;\n")
}
