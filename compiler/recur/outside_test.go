package recur

import (
	"bufio"
	"bytes"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"github.com/teambition/rrule-go"

	"mealtab/compiler/plan"
	"mealtab/compiler/recur/rulegen"
)

// Other implementations run as programs of their own, because some crash and some never return: a case that ends
// a program so is noted, and the program starts again behind it.

const (
	instancesCompared = 24
	// patience is the processor time one rule may take: far more than any that ends needs. Processor time, so
	// that a busy machine does not make a slow rule look like one that never ends.
	patience    = 3 * time.Second
	crashed     = "crashed"
	unfinished  = "no answer"
	workerEnv   = "RECUR_RRULE_GO_WORKER"
	stampLayout = "20060102T150405"
)

// TestMain makes this binary double as the program that expands rules with rrule-go.
func TestMain(m *testing.M) {
	if os.Getenv(workerEnv) != "" {
		rruleGoWorker(os.Stdin, os.Stdout)
		return
	}
	// A hundred random rules are few for so many parts. A -rapid.checks on the command
	// line comes later and wins.
	if err := flag.Set("rapid.checks", "500"); err != nil {
		panic(err)
	}
	os.Exit(m.Run())
}

func dateutil(*testing.T) *exec.Cmd {
	return exec.Command("/usr/bin/python3", "testdata/outside/dateutil_rules.py")
}

func rruleGo(t *testing.T) *exec.Cmd {
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), workerEnv+"=1")
	return cmd
}

// libical compiles its program once and returns what starts it.
func libical(t *testing.T) func(*testing.T) *exec.Cmd {
	program := filepath.Join(t.TempDir(), "libical_rules")
	out, err := exec.Command("gcc", "-O1", "-o", program, "testdata/outside/libical_rules.c", "-lical").CombinedOutput()
	require.NoError(t, err, "needs gcc and libical-dev: %s", out)
	return func(*testing.T) *exec.Cmd { return exec.Command(program) }
}

// rruleGoWorker answers cases like the other programs do.
func rruleGoWorker(in io.Reader, out io.Writer) {
	lines := bufio.NewScanner(in)
	for lines.Scan() {
		f := strings.Split(lines.Text(), "\t")
		start, _ := time.Parse(stampLayout, f[0])
		count, _ := strconv.Atoi(f[2])
		o, err := rrule.StrToROption(f[1])
		if err != nil {
			fmt.Fprintln(out, "error:", err)
			continue
		}
		o.Dtstart = start
		if o.Until.IsZero() {
			o.Until = time.Date(2099, 12, 31, 23, 59, 59, 0, time.UTC)
		}
		r, err := rrule.NewRRule(*o)
		if err != nil {
			fmt.Fprintln(out, "error:", err)
			continue
		}
		var found []string
		next := r.Iterator()
		for t, ok := next(); ok && len(found) < count && t.Year() < 2100; t, ok = next() {
			found = append(found, t.Format(stampLayout))
		}
		fmt.Fprintln(out, strings.Join(found, " "))
	}
}

// ask puts every case to a program and returns its answers: instances, "error: …", crashed or unfinished.
func ask(t *testing.T, start func(*testing.T) *exec.Cmd, cases []string) []string {
	var answers []string
	for len(answers) < len(cases) {
		cmd := start(t)
		cmd.Stdin = strings.NewReader(strings.Join(cases[len(answers):], "\n") + "\n")
		out, err := cmd.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, cmd.Start())
		before := len(answers)
		answers = append(answers, listen(t, cmd.Process.Pid, out, len(cases)-before)...)
		_ = cmd.Process.Kill()
		_ = cmd.Wait() // a crash is an answer too
	}
	return answers
}

// listen reads up to want answers and stops early with crashed or unfinished.
func listen(t *testing.T, pid int, out io.Reader, want int) []string {
	lines := make(chan string)
	go func() {
		defer close(lines)
		s := bufio.NewScanner(out)
		for s.Scan() {
			lines <- strings.TrimSpace(s.Text())
		}
	}()
	defer func() {
		go func() {
			for range lines {
			}
		}()
	}()
	var answers []string
	tick := time.NewTicker(patience / 3)
	defer tick.Stop()
	answered := time.Duration(0) // processor time at the first tick after an answer
	fresh := true
	for len(answers) < want {
		select {
		case line, ok := <-lines:
			if !ok {
				return append(answers, crashed)
			}
			answers = append(answers, line)
			fresh = true
		case <-tick.C:
			used := processorTime(t, pid)
			if fresh {
				answered, fresh = used, false
			} else if used-answered > patience {
				return append(answers, unfinished)
			}
		}
	}
	return answers
}

// processorTime reads utime and stime of a process (proc(5)), in hundredths of a second.
func processorTime(t *testing.T, pid int) time.Duration {
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	require.NoError(t, err)
	fields := strings.Fields(string(stat[bytes.LastIndexByte(stat, ')')+1:]))
	user, err := strconv.Atoi(fields[11])
	require.NoError(t, err)
	system, err := strconv.Atoi(fields[12])
	require.NoError(t, err)
	return time.Duration(user+system) * 10 * time.Millisecond
}

// departure is a known way in which another implementation differs, and who is right.
type departure struct {
	name  string
	why   string // the RFC's clause, and why the referee does otherwise
	where func(r *plan.Rule, start plan.Local) bool
	slow  bool // such rules take it long or for ever: only a few are asked
}

// mostSlow is how many rules of a slow departure are asked.
const mostSlow = 3

// comparison is one program put to the test.
type comparison struct {
	start         func(*testing.T) *exec.Cmd
	rules         int
	options       rulegen.Options
	matchingStart bool // only sets whose DTSTART fits the rule: the others are undefined by RFC 5545 §3.8.5.3
	departures    []departure
	extra         []plan.Recurrence // put before the random ones
}

// run fails on every difference that no departure explains, and on every departure that explains none.
func (c comparison) run(t *testing.T) {
	recurrences, cases, ours := c.random(t)
	agreed, differences, unexplained := 0, map[string]int{}, 0
	for i, theirs := range ask(t, c.start, cases) {
		if theirs == ours[i] {
			agreed++
			continue
		}
		if d := explain(c.departures, recurrences[i]); d != nil {
			differences[d.name]++
		} else if unexplained++; unexplained <= 20 {
			t.Errorf("%s\n ours   %s\n theirs %s", cases[i], ours[i], theirs)
		}
	}
	t.Logf("%d rules: %d agree; differences by departure: %v", len(cases), agreed, differences)
	for _, d := range c.departures {
		if differences[d.name] == 0 && seed() == defaultSeed {
			t.Errorf("departure %q explains nothing: take it off the list", d.name)
		}
	}
}

func explain(departures []departure, r plan.Recurrence) *departure {
	for i := range departures {
		if departures[i].where(r.Rule, r.Start) {
			return &departures[i]
		}
	}
	return nil
}

// random makes recurrences, the lines that put them to a program, and the referee's answers.
func (c comparison) random(t *testing.T) (recurrences []plan.Recurrence, cases, ours []string) {
	src := rand.New(rand.NewPCG(seed(), 5545))
	slow := map[string]int{}
	for len(cases) < c.rules {
		fixed := len(cases) < len(c.extra)
		var r plan.Recurrence
		if fixed {
			r = c.extra[len(cases)]
			r.Rule.Interval = max(r.Rule.Interval, 1)
			r.Rule.Text = r.Rule.String()
		} else {
			r = rulegen.Recurrence(src, c.options)
		}
		r.Form = plan.UTC // without zone: nominal times are all that is compared
		s, err := New(r, nil, plan.GapShift)
		require.NoError(t, err, r.Rule.Text)
		if !fixed && !c.accepts(t, &r, &s, slow) {
			continue
		}
		recurrences = append(recurrences, r)
		start := time.Unix(s.start, 0).UTC().Format(stampLayout)
		cases = append(cases, fmt.Sprintf("%s\t%s\t%d", start, r.Rule.Text, instancesCompared))
		ours = append(ours, stamps(s, instancesCompared))
	}
	return recurrences, cases, ours
}

// accepts decides whether a random case is put, and moves its DTSTART where the comparison wants that.
func (c comparison) accepts(t *testing.T, r *plan.Recurrence, s **Set, slow map[string]int) bool {
	if c.matchingStart {
		moved, set, ok := startAtFirst(t, *r, *s)
		if !ok {
			return false
		}
		*r, *s = moved, set
	}
	if periodsWalked(*s) > mostPeriods {
		return false
	}
	if d := explain(c.departures, *r); d != nil && d.slow {
		slow[d.name]++
		return slow[d.name] <= mostSlow
	}
	return true
}

// startAtFirst moves DTSTART to the first instance, where that leaves it an instance.
func startAtFirst(t *testing.T, r plan.Recurrence, s *Set) (plan.Recurrence, *Set, bool) {
	first, ok := s.Cursor().Next()
	if !ok {
		return r, s, false
	}
	r.Start = localOf(t, text(first.Nominal))
	s, err := New(r, nil, plan.GapShift)
	require.NoError(t, err, r.Rule.Text)
	again, ok := s.Cursor().Next()
	return r, s, ok && again.Nominal == first.Nominal
}

// mostPeriods is how many periods a case may have up to its last instance, because the others step through each
// of them.
const mostPeriods = 50000

func periodsWalked(s *Set) int64 {
	last, found := s.start, 0
	c := s.Cursor()
	for in, ok := c.Next(); ok && found < instancesCompared; in, ok = c.Next() {
		last = in.Nominal
		found++
	}
	if count := int(s.rule.count); found < instancesCompared && (count == 0 || found < count) {
		last = End // UNTIL does not stop a search that finds nothing to compare with it
	}
	unit := [...]int64{1, 60, 3600, daySeconds, daySeconds, daySeconds, daySeconds}[s.rule.freq]
	return (last - s.start) / unit / s.rule.interval
}

func stamps(s *Set, n int) string {
	var out []string
	c := s.Cursor()
	for in, ok := c.Next(); ok && len(out) < n; in, ok = c.Next() {
		out = append(out, time.Unix(in.Nominal, 0).UTC().Format(stampLayout))
	}
	return strings.Join(out, " ")
}

const defaultSeed = 7529

// seed is fixed, so that a run can be repeated; RECUR_SEED chooses another.
func seed() uint64 {
	n, err := strconv.ParseUint(os.Getenv("RECUR_SEED"), 10, 64)
	if err != nil {
		return defaultSeed
	}
	return n
}
