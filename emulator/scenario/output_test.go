package scenario_test

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/emulator/avr"
	"mealtab/emulator/scenario"
)

const hour = `
name = "an hour"
plan = "x"
start = 2027-06-01T05:30:00Z
run = "1h"
[[event]]
at = "10m"
do = "press"
button = "feed"
for = "150 ms"
[[expect]]
servings = "all"
manual = 1
pockets = [3, 3]
faults = []
`

// play runs a script with six meals a day (06:00, 09:00 …) on the shipped firmware.
func play(t *testing.T, src string, in scenario.Inputs) *scenario.Result {
	t.Helper()
	s, err := scenario.Parse("s.toml", []byte(src))
	if err != nil {
		t.Fatal(err)
	}
	p, img := mains(t)
	in.Table = func(string) ([]byte, error) { return sixMeals(t, p), nil }
	in.Firmware = func(string) (*avr.Image, error) { return img, nil }
	r, err := scenario.Run(s, in)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// TestVCD reads the dump back by IEEE 1364-2005 clause 18: declared identifiers only, time that ascends, values that change;
// and finds in it what happened: one pulse train of the servo, one press, an I2C transfer to address 68h.
func TestVCD(t *testing.T) {
	var vcd bytes.Buffer
	r := play(t, strings.ReplaceAll(hour, "05:30", "07:30"), scenario.Inputs{VCD: &vcd})
	if len(r.Failures) > 0 {
		t.Fatal(r.Failures[0].Error())
	}
	names, value := map[string]string{}, map[string]string{}
	rises := map[string]int{}
	now, inHead, dumping := uint64(0), true, false
	var bits []byte // of the bus since the last start, sampled where SCL rises
	heard := false
	for s := bufio.NewScanner(&vcd); s.Scan(); {
		line := s.Text()
		f := strings.Fields(line)
		switch {
		case inHead:
			if f[0] == "$var" {
				names[f[3]] = f[4]
			}
			inHead = f[0] != "$enddefinitions"
		case line == "$dumpvars":
			dumping = true
		case line == "$end":
			dumping = false
		case line[0] == '#':
			at, err := strconv.ParseUint(line[1:], 10, 64)
			if err != nil || at < now {
				t.Fatalf("time %q after %d", line, now)
			}
			now = at
		default:
			id, v := line[1:], line[:1]
			if line[0] == 'r' {
				id, v = f[1], f[0]
			}
			name, ok := names[id]
			if !ok {
				t.Fatalf("%q changes an identifier that was not declared", line)
			}
			if value[name] == v && !dumping {
				t.Fatalf("at %d %s changes to what it is", now, name)
			}
			value[name] = v
			if v == "1" && !dumping {
				rises[name]++
			}
			switch {
			case name == "SDA" && v == "0" && value["SCL"] == "1":
				bits = bits[:0]
			case name == "SCL" && v == "1" && len(bits) < 9:
				bits = append(bits, value["SDA"][0])
				heard = heard || string(bits) == "110100000" // 68h, write, acknowledged
			}
		}
	}
	if !heard {
		t.Error("no transfer to address 68h can be read off SDA and SCL")
	}
	if rises["servo"] < 30 || rises["boost"] != 2 || rises["INT"] < 1 || rises["sleep"] < 100 || rises["SCL"] < 1000 {
		t.Errorf("rises: %v", rises)
	}
	if rises["button_feed"] < 1 || rises["button_plan"] != 0 {
		t.Errorf("buttons rise: %v", rises)
	}
}

// TestCSV: every row has six fields (RFC 4180), UTC ascends.
func TestCSV(t *testing.T) {
	var out bytes.Buffer
	play(t, strings.ReplaceAll(hour, "05:30", "07:30"), scenario.Inputs{CSV: &out})
	rows, err := csv.NewReader(&out).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	pockets := 0
	for i, row := range rows[1:] {
		if len(row) != 6 || i > 0 && row[0] < rows[i][0] {
			t.Fatalf("row %d: %v after %v", i+1, row, rows[i])
		}
		if row[2] == "pocket" {
			pockets++
		}
	}
	if pockets != 3 {
		t.Errorf("%d pockets, want 3", pockets)
	}
}

// TestFailuresTell: each kind of expectation can fail, and says what was expected, what happened, when, and what went on.
func TestFailuresTell(t *testing.T) {
	head := "name = \"x\"\nplan = \"x\"\nstart = 2027-06-01T07:30:00Z\nrun = \"1h\"\n[[expect]]\n"
	for _, c := range []struct{ expect, expected, happened string }{
		{"served = []", "no serving", "2 pockets at 2027-06-01 09:00 UTC+1"},
		{"servings = \"all\"\nexcept = [2027-06-01T09:00:00]", "no serving", "2 pockets"},
		{"served = [{ at = 2027-06-01T09:00:00, pockets = 3 }]", "3 pockets at 2027-06-01 09:00 UTC+1", "2 pockets"},
		{"served = [{ at = 2027-06-01T09:00:00, pockets = 2 }, { at = 2027-06-01T09:10:00, pockets = 1 }]", "1 pocket at 2027-06-01 09:10", "nothing"},
		{"servings = \"all\"\nwithin = \"10 ms\"", "at most 10ms late", "ms late"},
		{"pockets = [5, 6]", "5 to 6 pockets", "2"},
		{"grams = [50, 60]", "50 to 60 g of kibble", "1"},
		{"manual = 1", "1 servings by hand", "0"},
		{"resets = 2", "2 resets", "0"},
		{"faults = [\"jam\"]", `faults ["jam"]`, "faults []"},
		{"light = \"jam\"", "5 flashes (jam)", "groups of flashes: []"},
		{"history = [\"missed\"]", `"missed" in the history`, "served"},
		{"never = [\"served 2\"]", `no "served 2" in the history`, "served"},
		{"settled = 2027-06-01T09:30:00", "settled up to 2027-06-01 08:30", "2027-06-01 08:00:00.000Z"},
		{"at = 2027-06-01T08:00:00.6Z\nservo = \"off\"", "the servo has no power", "it has"},
	} {
		r := play(t, head+c.expect+"\n", scenario.Inputs{})
		if len(r.Failures) != 1 {
			t.Errorf("%s: %d failures, want 1", c.expect, len(r.Failures))
			continue
		}
		f := r.Failures[0]
		if !strings.Contains(f.Expected, c.expected) || !strings.Contains(f.Happened, c.happened) || len(f.Log) == 0 || f.When.IsZero() {
			t.Errorf("%s fails with\n%v", c.expect, f.Error())
		}
	}
}

const shorted = `
name = "a short that nobody mends"
plan = "x"
start = 2027-06-01T07:30:00Z
run = "6h"
[[event]]
at = "10m"
do = "hold SDA"
[[expect]]
servings = "all"
within = "0 ms"
`

// TestOutputsAreBounded: a fault that fills a disk fills no more than it may, rare events stay to the end, and what is left out
// is said in the file and in the result.
func TestOutputsAreBounded(t *testing.T) {
	const most = 200
	var rows, signals bytes.Buffer
	r := play(t, shorted, scenario.Inputs{CSV: &rows, VCD: &signals, Rows: most})
	all, err := csv.NewReader(&rows).ReadAll()
	require.NoError(t, err)
	held, said := map[string]int{}, 0
	for _, row := range all[1:] {
		held[row[2]]++
		if row[2] == "left out" {
			said++
			require.Contains(t, r.LeftOut, row[5])
		}
	}
	for kind, n := range held {
		require.LessOrEqual(t, n, most, kind)
	}
	require.Equal(t, most, held["sleep"])
	require.Positive(t, said)
	unknown := map[string]bool{}
	changes, comments := map[string]int{}, 0
	for s := bufio.NewScanner(&signals); s.Scan(); {
		line := s.Text()
		switch {
		case strings.HasPrefix(line, "$comment"):
			comments++
		case strings.ContainsRune("01x", rune(line[0])):
			require.False(t, unknown[line[1:]], "%s changes after it was given up", line)
			unknown[line[1:]] = line[0] == 'x'
			changes[line[1:]]++
		}
	}
	for id, n := range changes {
		require.LessOrEqual(t, n, most+2, "%s: what it began with, and what it ended with", id)
	}
	require.Equal(t, said+comments, len(r.LeftOut))
	require.Positive(t, comments)
}

// TestFailuresAreShort: an expectation that fails a thousand times prints the first one whole, some more, and how many.
func TestFailuresAreShort(t *testing.T) {
	r := play(t, strings.Replace(shorted, "6h", "90h", 1), scenario.Inputs{})
	require.Greater(t, len(r.Failures), 21)
	text := r.Failed()
	require.LessOrEqual(t, strings.Count(text, "\n"), 60)
	require.Regexp(t, `and \d+ more\n$`, text)
	for _, line := range strings.Split(text, "\n") {
		require.Less(t, len(line), 400)
	}
}
