package scenario

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

// check is an expectation with its times read.
type check struct {
	r            *run
	e            *Expect
	number       int
	at, from, to time.Time
	within       time.Duration
	except       []table.Minute
}

func (r *run) check(i int) (*check, error) {
	c := &check{r: r, e: &r.s.Expect[i], number: i + 1, at: r.end, from: r.start, to: r.end, within: time.Minute}
	for _, t := range []struct {
		v  any
		to *time.Time
	}{{c.e.At, &c.at}, {c.e.From, &c.from}, {c.e.To, &c.to}} {
		if t.v == nil {
			continue
		}
		var err error
		if *t.to, err = moment(t.v, r.start, r.log.local); err != nil {
			return nil, err
		}
	}
	for _, v := range c.e.Except {
		t, err := moment(v, r.start, r.log.local)
		if err != nil {
			return nil, err
		}
		c.except = append(c.except, table.MinuteOf(t.Unix()))
	}
	if c.e.Within != "" {
		var err error
		if c.within, err = duration(c.e.Within); err != nil {
			return nil, err
		}
	}
	return c, c.words()
}

// words checks the words that the expectation uses.
func (c *check) words() error {
	e := c.e
	if e.Servings != "" && e.Servings != "all" {
		return fmt.Errorf("servings is %q; it can be \"all\"", e.Servings)
	}
	for _, f := range append(slices.Clone(e.Faults), e.Light) {
		if f != "" && f != "dark" && !slices.Contains(faultNames(), f) {
			return fmt.Errorf("no fault is called %q; there are %s", f, strings.Join(faultNames(), ", "))
		}
	}
	for _, h := range append(slices.Clone(e.History), e.Never...) {
		if name, _ := splitEvent(h); !knownEvent(name) {
			return fmt.Errorf("the history knows no event %q", name)
		}
	}
	for _, list := range [][]int{e.Pockets, e.Grams} {
		if list != nil && len(list) != 2 {
			return fmt.Errorf("%v: give the least and the most, such as [2, 4]", list)
		}
	}
	return nil
}

// when is the time at which the expectation can be looked at.
func (c *check) when() time.Time {
	if c.e.At != nil {
		return c.at
	}
	return c.to
}

func (c *check) fail(expected, happened string, when time.Time) {
	c.r.result.Failures = append(c.r.result.Failures, Failure{c.number, expected, happened, when, c.r.log.Around(when)})
}

func (c *check) run() error {
	c.r.result.Checks++
	e := c.e
	if e.Servings != "" {
		c.servings(c.planned())
	}
	if e.Served != nil {
		list, err := c.listed()
		if err != nil {
			return err
		}
		c.servings(list)
	}
	c.counts()
	c.past()
	c.light()
	if e.Servo == "off" && c.r.b.BoostOn() {
		c.fail("the servo has no power", "it has", c.r.b.Now())
	}
	if e.Faults != nil || e.Settled != nil || e.Preset != nil || e.Table != "" {
		return c.asked()
	}
	return nil
}

// wanted is one serving expected.
type wanted struct {
	at      table.Minute
	pockets int
}

// planned is the table's replay over the whole run, without the servings that are excepted: their portions leave no
// remainder.
func (c *check) planned() (list []wanted) {
	t := c.r.t
	preset := replay.AllPresets
	if t.Presets > 0 {
		preset = 0
	}
	carry := int64(0)
	unit := 10 * int64(t.Wheel.PocketUnits)
	cursor := replay.New(t, replay.Options{From: table.MinuteOf(c.r.start.Unix()) + 1, To: table.MinuteOf(c.r.end.Unix()), Preset: preset})
	for {
		s, ok := cursor.Next()
		if !ok {
			return list
		}
		if slices.Contains(c.except, s.At) {
			continue
		}
		n := 0
		for _, m := range s.Meals { // FORMAT.md, "Pockets"
			sum := carry + 10*int64(m.Units)
			p := (sum + unit/2) / unit
			carry = sum - p*unit
			n += int(p)
		}
		if n > 0 && c.inside(s.At) {
			list = append(list, wanted{s.At, n})
		}
	}
}

func (c *check) listed() (list []wanted, err error) {
	for _, s := range c.e.Served {
		at, err := moment(s.At, c.r.start, c.r.log.local)
		if err != nil {
			return nil, err
		}
		list = append(list, wanted{table.MinuteOf(at.Unix()), s.Pockets})
	}
	return list, nil
}

func (c *check) inside(m table.Minute) bool {
	return !m.Time().Before(c.from) && m.Time().Before(c.to)
}

// given is one serving that happened: its turns, which a power cut may have parted.
type given struct {
	at      table.Minute
	start   time.Time
	pockets int
}

func (c *check) given() (list []given) {
	for _, t := range c.r.turns {
		if !t.Serving() || !c.inside(t.Journal.Cursor) {
			continue
		}
		i := slices.IndexFunc(list, func(g given) bool { return g.at == t.Journal.Cursor })
		if i < 0 {
			list = append(list, given{at: t.Journal.Cursor, start: t.Start})
			i = len(list) - 1
		}
		list[i].pockets += t.Pockets
	}
	return list
}

func (c *check) servings(want []wanted) {
	got := c.given()
	for len(want) > 0 || len(got) > 0 {
		switch {
		case len(got) == 0 || len(want) > 0 && want[0].at < got[0].at:
			c.fail(c.serving(want[0].at, want[0].pockets), "nothing", want[0].at.Time())
			want = want[1:]
		case len(want) == 0 || got[0].at < want[0].at:
			c.fail("no serving", c.serving(got[0].at, got[0].pockets), got[0].start)
			got = got[1:]
		default:
			c.compare(want[0], got[0])
			want, got = want[1:], got[1:]
		}
	}
}

func (c *check) compare(w wanted, g given) {
	late := g.start.Sub(w.at.Time())
	if off := g.pockets - w.pockets; off > c.e.Off || -off > c.e.Off {
		c.fail(c.serving(w.at, w.pockets), units.Count(g.pockets, "pocket"), g.start)
	} else if late < 0 || late > c.within {
		c.fail(fmt.Sprintf("%s, at most %v late", c.serving(w.at, w.pockets), c.within), fmt.Sprintf("%v late", late.Round(time.Millisecond)), g.start)
	}
}

func (c *check) serving(at table.Minute, n int) string {
	return fmt.Sprintf("%s at %s", units.Count(n, "pocket"), c.r.log.local.At(at.Time()).Format("2006-01-02 15:04 MST"))
}

// counts checks pockets, grams, turns by hand and resets in the span.
func (c *check) counts() {
	fell, hand, mg := 0, 0, int64(0)
	for _, t := range c.r.turns {
		if t.Start.Before(c.from) || !t.Start.Before(c.to) {
			continue
		}
		fell += t.Pockets
		mg += t.Milligrams
		if t.Recorded && t.Journal.Kind == table.JournalManual {
			hand++
		}
	}
	c.between("pockets", c.e.Pockets, fell)
	c.between("g of kibble", c.e.Grams, int(mg/1000))
	if c.e.Manual != nil && *c.e.Manual != hand {
		c.fail(fmt.Sprintf("%d servings by hand", *c.e.Manual), strconv.Itoa(hand), c.to)
	}
	if c.e.Resets != nil {
		n := 0
		for _, at := range c.r.resets {
			if !at.Before(c.from) && at.Before(c.to) {
				n++
			}
		}
		if n != *c.e.Resets {
			c.fail(fmt.Sprintf("%d resets", *c.e.Resets), strconv.Itoa(n), c.to)
		}
	}
}

func (c *check) between(what string, want []int, got int) {
	if want != nil && (got < want[0] || got > want[1]) {
		c.fail(fmt.Sprintf("%d to %d %s", want[0], want[1], what), strconv.Itoa(got), c.to)
	}
}

// splitEvent reads "missed 2": the event, and its value if it matters.
func splitEvent(text string) (name string, value int) {
	if i := strings.LastIndexByte(text, ' '); i > 0 {
		if v, err := strconv.Atoi(text[i+1:]); err == nil {
			return text[:i], v
		}
	}
	return text, -1
}

func (c *check) past() {
	if c.e.History == nil && c.e.Never == nil {
		return
	}
	list := History(c.r.b)
	has := func(h string) bool {
		name, value := splitEvent(h)
		return slices.ContainsFunc(list, func(p Past) bool {
			return p.Event == name && (value < 0 || p.Value == value) && p.At >= table.MinuteOf(c.from.Unix())-table.MinutesPerDay && p.At.Time().Before(c.to)
		})
	}
	said := "the history holds " + lastOf(list)
	for _, h := range c.e.History {
		if !has(h) {
			c.fail(fmt.Sprintf("%q in the history", h), said, c.when())
		}
	}
	for _, h := range c.e.Never {
		if has(h) {
			c.fail(fmt.Sprintf("no %q in the history", h), said, c.when())
		}
	}
}

// lastOf prints the newest of a list.
func lastOf[T any](list []T) string {
	const most = 30
	if left := len(list) - most; left > 0 {
		return fmt.Sprintf("%v and %d before", list[left:], left)
	}
	return fmt.Sprintf("%v", list)
}

// light looks at the LED: the code of a group shows the fault of that number.
func (c *check) light() {
	if c.e.Light == "" {
		return
	}
	groups := c.groups()
	if c.e.Light == "dark" {
		if len(groups) > 0 {
			c.fail("a dark light", "groups of flashes: "+lastOf(groups), c.to)
		}
		return
	}
	if !slices.ContainsFunc(groups, func(code int) bool { return lower(FaultShown(code)) == c.e.Light }) {
		bit := slices.Index(faultNames(), c.e.Light)
		c.fail(fmt.Sprintf("%s (%s)", table.Flashes(bit), c.e.Light), "groups of flashes: "+lastOf(groups), c.to)
	}
}

// winkGap is the least between two winks, single flashes that say no more than that the feeder is alive.
const winkGap = 40 * time.Second

// groups are the codes of the light in the span, but for winks.
func (c *check) groups() (codes []int) {
	c.r.lamp.Settle(c.r.b.Now())
	list := c.r.groups
	for i, g := range list {
		if g.at.Before(c.from) || !g.at.Before(c.to) {
			continue
		}
		alone := (i == 0 || g.at.Sub(list[i-1].at) > winkGap) && (i+1 == len(list) || list[i+1].at.Sub(g.at) > winkGap)
		if g.code == 1 && alone {
			continue
		}
		codes = append(codes, g.code)
	}
	return codes
}

// asked asks the feeder itself, over the line of a fork, so that the run is not disturbed.
func (c *check) asked() error {
	now := c.r.b.Now()
	s, _, err := AskStatus(c.r.b)
	if err != nil {
		c.fail("an answer to STATUS", err.Error(), now)
		return nil
	}
	if c.e.Faults != nil {
		if got := faultsOf(s.Faults); !slices.Equal(got, c.e.Faults) {
			c.fail(fmt.Sprintf("faults %q", c.e.Faults), fmt.Sprintf("faults %q", got), now)
		}
	}
	if c.e.Table == "valid" && s.Bank > 1 {
		c.fail("a valid table in force", "none", now)
	}
	if c.e.Preset != nil && *c.e.Preset != s.Preset+1 {
		c.fail(fmt.Sprintf("preset %d", *c.e.Preset), strconv.Itoa(s.Preset+1), now)
	}
	if c.e.Settled != nil {
		at, err := moment(c.e.Settled, c.r.start, c.r.log.local)
		if err != nil {
			return err
		}
		if s.Cursor != table.MinuteOf(at.Unix()) {
			c.fail("settled up to "+at.Format(stampLayout), s.Cursor.Time().Format(stampLayout), now)
		}
	}
	return nil
}
