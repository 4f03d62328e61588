package honest

import (
	"fmt"
	"slices"
	"time"

	"mealtab/compiler/table"
	"mealtab/emulator/board"
	"mealtab/emulator/scenario"
)

// Rules that a run can break.
const (
	RuleUnseen    = "unseen"    // what fell is not what was said or planned, and no fault is shown in time
	RuleForgotten = "forgotten" // a fault that spoilt a serving is no longer shown, and nobody acknowledged it
	RuleStatus    = "status"    // the light shows a fault, the status does not
	RuleHistory   = "history"   // a serving was spoilt, and the history has nothing of it
	RuleOver      = "over"      // more than a pocket too much in a serving
	RuleTwice     = "twice"     // a serving was given twice
	RuleHungry    = "hungry"    // no food for half a day and six hours, and no fault shown
	RuleAttempts  = "attempts"  // more than five in a row
	RulePush      = "push"      // against a stall, too long at a time or in a day
	RuleWear      = "wear"      // an EEPROM cell would not last ten years
	RuleLine      = "line"      // no answer within a minute
	RuleLimits    = "limits"    // more presses than the plan allows
	RuleStorm     = "storm"     // resets without end
	RuleMended    = "mended"    // after the fault was mended and acknowledged, the feeder is not as before
	RuleStopped   = "stopped"   // the firmware stopped
)

// What the rules allow.
const (
	showWithin      = 15 * time.Minute
	answerWithin    = time.Minute
	pushAtATime     = 3050 * time.Millisecond // 3 s, and a period of the pulses
	pushADay        = time.Minute
	attemptsInARow  = 5
	rest            = 14 * time.Minute // 15, less the watchdog's tenth
	cellLife        = 100_000          // writes [ATmega328P data sheet, 8.4]
	lastYears       = 10
	mostResets      = 400
	pressTime       = 15 * time.Second // from a press to what it brings about
	mostInAnEvening = 40
	hungryAfter     = 6*time.Hour + showWithin // beyond the longest gap of the plan
)

// Violation is a rule that was broken in a run.
type Violation struct {
	Rule string
	At   time.Time
	Why  string
}

func (v Violation) String() string {
	return fmt.Sprintf("%s at %s: %s", v.Rule, v.At.Format("02 15:04"), v.Why)
}

// judge watches a feeder.
type judge struct {
	b      *board.Board
	plan   *plan
	m      table.Map
	light  *light
	broken []Violation
	clock  bool   // the feeder's time is not the world's
	hands  bool   // somebody presses, asks over the line, or opens the port
	asks   int    // pockets of each press or request
	token  uint8  // of the newest request over the line
	mute   bool   // it keeps no history: its journal is all that it says
	begun  saying // without a history: what the journal has begun since the last probe
	cursor table.Minute

	probed   time.Time // last probe
	sequence uint8     // of the newest record of the history then
	spoilt   bool      // a serving, and nobody has acknowledged it
	pending  int       // pockets that were still to come at the last probe
	pressed  time.Time // a button: whoever presses has seen the light
	trouble  bool      // the history has had something beside servings since
	first    time.Time // the servo's first rest in the window
	back     time.Time // power's last return
	wentOff  time.Time
	ate      time.Time     // when kibble last fell
	hungry   time.Duration // without power since

	fell    int // pockets with kibble since the last probe
	manual  bool
	hand    []time.Time // pockets of presses and requests
	served  []table.Minute
	ons     []time.Time // attempts
	pushing time.Time
	pushes  []push
	resets  int
	cells   []uint32 // writes at the start
	from    time.Time
	windows []window
}

// push is a time for which the servo pushed against a stall.
type push struct {
	at time.Time
	d  time.Duration
}

// window is what happened between two probes: one serving.
type window struct {
	planned, said, fell int
	codes               [17]bool // shown
	shownAfter          time.Duration
	spoilt              bool
	byHandOnly          bool // what the plan wanted fell; what was asked for did not
}

func newJudge(b *board.Board, p *plan, clock bool) *judge {
	j := &judge{b: b, light: newLight(), plan: p, clock: clock, asks: perPress, probed: b.Now(), ate: b.Now(), from: b.Now()}
	j.m, _ = table.MapFor(len(b.MCU().EEPROM()))
	if newest, ok := table.NewestJournal(b.MCU().EEPROM(), j.m); ok {
		j.token = newest.Token
	}
	j.cells = slices.Clone(b.MCU().CellWrites())
	past := scenario.History(b)
	if j.mute = len(past) == 0; !j.mute {
		j.sequence = past[len(past)-1].Sequence
	}
	return j
}

// breaks notes a broken rule, the first time.
func (j *judge) breaks(rule, why string, args ...any) {
	for _, v := range j.broken {
		if v.Rule == rule {
			return
		}
	}
	j.broken = append(j.broken, Violation{rule, j.b.Now(), fmt.Sprintf(why, args...)})
}

func (j *judge) see(e board.Event) {
	at := j.b.Time(e.At)
	switch e.Kind {
	case board.PocketFell:
		if e.Value > 0 {
			j.pocket(at)
		}
	case board.Button:
		if e.Value != 0 {
			j.pressed, j.spoilt = at, false
		}
	case board.Light:
		j.light.Event(e.Value != 0, at)
	case board.ServoSupply:
		j.servo(e.Value != 0, at)
	case board.ServoStalled:
		j.stall(e.Value != 0, at)
	case board.WasReset:
		if j.resets++; j.resets > mostResets {
			j.breaks(RuleStorm, "%d resets", j.resets)
			j.b.MCU().Stop()
		}
	}
}

func (j *judge) pocket(at time.Time) {
	j.fell++
	j.ate, j.hungry = at, 0
	if !j.manual {
		return
	}
	j.hand = append(j.hand, at)
	count := func(span time.Duration) (n int) {
		for _, h := range j.hand {
			if at.Sub(h) < span {
				n++
			}
		}
		return n
	}
	if n := count(time.Hour - time.Minute); n > perHour*j.asks+1 {
		j.breaks(RuleLimits, "%d pockets by hand in an hour", n)
	}
	if n := count(24*time.Hour - time.Minute); n > min(perDay*j.asks, mostAskedADay)+1 {
		j.breaks(RuleLimits, "%d pockets by hand in a day", n)
	}
}

// servo counts attempts: each time its supply goes on.
func (j *judge) servo(on bool, at time.Time) {
	if !on {
		if j.first.Before(j.probed) {
			j.first = at
		}
		return
	}
	newest, ok := table.NewestJournal(j.b.MCU().EEPROM(), j.m)
	if j.manual = ok && newest.Kind == table.JournalManual; j.manual {
		asked := perPress // should it be resumed, it counts again: nobody presses so little
		if newest.Token != j.token {
			j.token, asked = newest.Token, newest.Pockets
		}
		j.begun.manual += asked
		j.begun.byHand++
		return
	}
	if ok && newest.Kind == table.JournalServing && newest.Cursor != j.cursor {
		j.cursor = newest.Cursor
		j.begun.served += newest.Pockets
		j.begun.servings++
	}
	if at.Sub(j.pressed) < pressTime { // somebody wants it tried again
		return
	}
	j.ons = append(j.ons, at)
	if n := len(j.ons); n > attemptsInARow && at.Sub(j.ons[n-1-attemptsInARow]) < rest {
		j.breaks(RuleAttempts, "%d attempts within %v", attemptsInARow+1, at.Sub(j.ons[n-1-attemptsInARow]).Round(time.Second))
	}
}

func (j *judge) stall(on bool, at time.Time) {
	if on {
		j.pushing = at
		return
	}
	d := at.Sub(j.pushing)
	if d > pushAtATime {
		j.breaks(RulePush, "against a stall for %v at a time", d.Round(10*time.Millisecond))
	}
	j.pushes = append(j.pushes, push{at, d})
	sum := time.Duration(0)
	for _, p := range j.pushes {
		if at.Sub(p.at) < 24*time.Hour {
			sum += p.d
		}
	}
	if sum > pushADay {
		j.breaks(RulePush, "against a stall for %v in a day", sum.Round(time.Second))
	}
}

// power is told of the world's cuts.
func (j *judge) power(on bool) {
	now := j.b.Now()
	if !on {
		j.wentOff = now
		return
	}
	j.back = now
	j.hungry += now.Sub(j.wentOff)
}
