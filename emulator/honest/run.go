package honest

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/emulator/cable"
	"mealtab/emulator/scenario"
	"mealtab/flasher"
)

// Case is one run. Its text form repeats it: "m328-index/long lead/solid jam+power cut of a second/3".
type Case struct {
	Image  string
	Supply string
	Faults []string // one or two
	Phase  int
	Short  bool // an evening instead of three days, told by a "~" at the end
}

func (c Case) String() string {
	text := fmt.Sprintf("%s/%s/%s/%d", c.Image, c.Supply, strings.Join(c.Faults, "+"), c.Phase)
	if c.Short {
		text += shortSign
	}
	return text
}

const shortSign = "~"

// ParseCase reads a case's text form.
func ParseCase(text string) (Case, error) {
	body, short := strings.CutSuffix(text, shortSign)
	parts := strings.Split(body, "/")
	if len(parts) != 4 {
		return Case{}, fmt.Errorf("%q is not a case, such as %q", text, "m328-index/long lead/solid jam/3")
	}
	phase, err := strconv.Atoi(parts[3])
	if err != nil || phase < 0 || phase >= Phases {
		return Case{}, fmt.Errorf("%q: the phase is 0 to %d", text, Phases-1)
	}
	return Case{parts[0], parts[1], strings.Split(parts[2], "+"), phase, short}, nil
}

// Outcome is what a run showed.
type Outcome struct {
	Case    Case
	Broken  []Violation // rules that hold for every board
	Unknown []string    // names of exceptions that were needed: what this board cannot know
	Windows []window
}

const resetHour = 8 // at which the port is opened, each day

func (c Case) plan() *plan {
	if c.Short {
		return &evening
	}
	return &days
}

// Run runs a case; log receives what happens in plain words and may be nil. The error is a fault of the case.
func (l Bases) Run(c Case, log io.Writer) (*Outcome, error) {
	supply, err := supplyNamed(c.Image, c.Supply)
	if err != nil {
		return nil, err
	}
	faults, err := faultsNamed(c.Image, c.Faults)
	if err != nil {
		return nil, err
	}
	base, err := l.base(c.Image, supply, c.plan())
	if err != nil {
		return nil, err
	}
	r := newRun(c, faults, base, log)
	r.play()
	r.j.worn()
	o := &Outcome{Case: c, Windows: r.j.windows}
	o.Broken, o.Unknown = excuse(c, r.j.broken)
	return o, nil
}

func supplyNamed(image, name string) (Supply, error) {
	var names []string
	for _, s := range suppliesFor(image) {
		if s.Name == name {
			return s, nil
		}
		names = append(names, s.Name)
	}
	return Supply{}, fmt.Errorf("%s has no supply %q; there are %s", image, name, strings.Join(names, ", "))
}

func faultsNamed(image string, names []string) (list []Fault, err error) {
	all := faultsFor(image)
	for _, name := range names {
		i := slices.IndexFunc(all, func(f Fault) bool { return f.Name == name })
		if i < 0 {
			return nil, fmt.Errorf("%s cannot have the fault %q", image, name)
		}
		list = append(list, all[i])
	}
	return list, nil
}

// running is a run under way.
type running struct {
	w      world
	j      *judge
	faults []Fault
	plan   *plan
}

func newRun(c Case, faults []Fault, from *base, log io.Writer) *running {
	b := from.close
	if c.Phase == 0 || slices.ContainsFunc(faults, func(f Fault) bool { return f.early }) {
		b = from.start
	}
	b = b.Fork()
	r := &running{w: world{b: b, cable: cable.New(b), turn: from.turn, phase: c.Phase}, faults: faults, plan: c.plan()}
	clock := slices.ContainsFunc(faults, func(f Fault) bool { return f.clock })
	r.j = newJudge(b, r.plan, clock)
	r.j.hands = slices.ContainsFunc(faults, func(f Fault) bool { return f.hands })
	for _, f := range faults {
		r.j.asks = max(r.j.asks, f.asks)
	}
	h := uint64(1469598103934665603) // FNV-1a, so that each case meets its own chance
	for _, x := range []byte(c.String()) {
		h = (h ^ uint64(x)) * 1099511628211
	}
	b.Reseed(h)
	words := scenario.NewLog(replay.NewClock(&table.Zone{}), log)
	b.Observe(func(e board.Event) {
		r.j.see(e)
		if log != nil {
			words.Add(b.Time(e.At), e)
		}
	}, board.ServoPulse, board.BusByte, board.Asleep, board.ButtonContact, board.IndexSwitch, board.LightBarrier, board.LineSent, board.LineReceived)
	r.script(c, func(text string) { words.Say(b.Now(), "> "+text) })
	return r
}

// script plans everything that happens.
func (r *running) script(c Case, say func(string)) {
	w := &r.w
	for i, f := range r.faults {
		at := w.onset()
		if f.early {
			at = day1.Add(runStart + 30*time.Minute)
		}
		w.plan(at.Add(time.Duration(i)*150*time.Millisecond), func() { say(f.Name); f.begin(w) })
	}
	ahead := func(at time.Time, do func()) {
		if at.After(w.b.Now()) {
			w.plan(at, do)
		}
	}
	p := r.plan
	for day := day1; day.Before(p.end); day = day.Add(24 * time.Hour) {
		ahead(day.Add(resetHour*time.Hour), func() { say("the port is opened"); w.b.Reset() })
		for _, minute := range p.probes {
			at := day.Add(time.Duration(minute) * time.Minute)
			ahead(at, func() { r.j.probe(!p.mend.IsZero() && at.After(p.mend)) })
		}
	}
	if p.mend.IsZero() { // the port is opened in the evening instead
		w.plan(aim.Add(50*time.Minute), func() { say("the port is opened"); w.b.Reset() })
		return
	}
	w.plan(p.mend, func() { say("all is mended"); r.mend() })
	w.plan(p.mend.Add(20*time.Minute), func() { say("seen"); w.b.Press(board.ButtonPreset, 200*time.Millisecond) })
}

// mend ends the faults; the owner sets a clock that was wrong.
func (r *running) mend() {
	for _, f := range r.faults {
		if f.end != nil {
			f.end(&r.w)
		}
	}
	r.w.acts = slices.DeleteFunc(r.w.acts, func(a act) bool { return a.repeat })
	if r.j.clock {
		if f, err := flasher.Connect(r.w.cable.Link("the line")); err == nil {
			_, _ = f.SetClock()
		}
	}
}

// play runs to the end, or until the firmware resets without end.
func (r *running) play() {
	w := &r.w
	for len(w.acts) > 0 && w.acts[0].at.Before(r.plan.end) {
		next := w.acts[0]
		w.acts = w.acts[1:]
		for w.b.Now().Before(next.at) {
			reason := w.b.RunUntil(next.at)
			if reason == avr.StopBreak || reason == avr.StopIllegal {
				r.j.breaks(RuleStopped, "%v", reason)
				return
			}
			if r.j.resets > mostResets {
				return
			}
		}
		was := w.b.Powered()
		next.do()
		if is := w.b.Powered(); is != was {
			r.j.power(is)
		}
	}
}
