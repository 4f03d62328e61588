package honest

import (
	"slices"
	"strings"
	"time"

	"mealtab/compiler/table"
	"mealtab/emulator/scenario"
)

// saying is what the feeder has said since the last probe.
type saying struct {
	served, manual int // pockets
	servings       int // of the plan
	byHand         int
	owed           int  // pockets that were still to come then
	left           int  // pockets said to be left out, or still to be turned
	trouble        bool // the history has something beside servings
}

func (s saying) total() int { return s.owed + s.served + s.manual - s.left }

// listen reads what the history, or without one the journal, has got since the last probe.
func (j *judge) listen() (s saying) {
	if j.mute {
		s, j.begun = j.begun, saying{}
	} else {
		s = j.history()
	}
	s.owed, j.pending = j.pending, 0
	newest, ok := table.NewestJournal(j.b.MCU().EEPROM(), j.m)
	if ok && !newest.Done() {
		j.pending = newest.Pockets - max(0, newest.Steps-1)
	}
	s.left += j.pending
	return s
}

func (j *judge) history() (s saying) {
	past := scenario.History(j.b)
	from := len(past)
	for from > 0 && past[from-1].Sequence != j.sequence {
		from--
	}
	for _, p := range past[from:] {
		switch p.Event {
		case "served":
			s.served += p.Value
			s.servings++
			j.given(p.At)
		case "manual":
			s.manual += p.Value
			s.byHand++
		case "left out":
			s.left += p.Value
			s.trouble = true
		case "started", "table", "preset", "adjust", "clock set":
		default:
			s.trouble = true
		}
	}
	if len(past) > 0 {
		j.sequence = past[len(past)-1].Sequence
	}
	return s
}

// given notes a serving of the plan; none may come twice.
func (j *judge) given(at table.Minute) {
	for _, m := range j.served {
		if m == at {
			j.breaks(RuleTwice, "the serving of %s was begun twice", at.Time().Format("02 15:04"))
		}
	}
	j.served = append(j.served, at)
}

// probe looks at the feeder between two servings.
func (j *judge) probe(mended bool) {
	now := j.b.Now()
	if !j.b.Powered() {
		return // nothing can be said or shown; the next probe sees both servings
	}
	j.light.Settle(now)
	var w window
	var lastMeal time.Time
	w.planned, lastMeal = j.plan.planned(j.probed, now)
	said := j.listen()
	w.said, w.fell = said.total(), j.fell
	j.over(w, said)
	byPlan := j.fell - j.byHand()
	short := !j.clock && w.planned-byPlan > 1
	if off := w.said - j.fell; off > 1 || off < -1 || short {
		w.spoilt = true
		w.byHandOnly = !j.clock && byPlan-w.planned <= 1 && !short
	}
	since := latest(lastMeal, j.back)
	if !j.first.Before(j.probed) {
		since = latest(since, j.first)
	}
	j.look(&w, since, now)
	if mended {
		w.planned += said.owed
		j.asBefore(w, now)
	} else {
		j.shown(w, said, since, now)
	}
	j.windows = append(j.windows, w)
	j.probed, j.fell = now, 0
}

// byHand is how many of the pockets since the last probe were asked for.
func (j *judge) byHand() (n int) {
	for _, at := range j.hand {
		if at.After(j.probed) {
			n++
		}
	}
	return n
}

// over: no serving, planned, asked for or finished later, gives more than one pocket too much.
func (j *judge) over(w window, said saying) {
	servings := said.servings + said.byHand
	if said.owed > 0 {
		servings++
	}
	if most := said.owed + said.served + said.manual; j.fell > most+servings {
		j.breaks(RuleOver, "%d pockets fell, %d were to", j.fell, most)
	}
	if most := said.owed + w.planned + said.manual; !j.clock && j.fell > most+max(1, servings) {
		j.breaks(RuleOver, "%d pockets fell, %d were planned, asked for or owed", j.fell, most)
	}
}

// look sees what was shown in the window, and how long after the serving.
func (j *judge) look(w *window, since, now time.Time) {
	w.shownAfter = -1
	for _, s := range j.light.spans {
		if s.to.After(j.probed) && s.code < len(w.codes) {
			w.codes[s.code] = true
		}
	}
	if s, ok := j.light.since(since); ok {
		w.shownAfter = max(0, s.from.Sub(since))
	}
}

// shown judges what the feeder shows: light, status and history, in time.
func (j *judge) shown(w window, said saying, since, now time.Time) {
	code := j.light.now(now)
	status, took, err := scenario.AskStatus(j.b)
	if err != nil || took > answerWithin {
		j.breaks(RuleLine, "no answer within %v", answerWithin)
	}
	j.trouble = j.trouble || said.trouble
	if w.spoilt && j.pressed.After(j.probed) {
		// Shown and acknowledged; or what was asked for did not fall, that was shown, and whoever asked again had seen it.
		w.spoilt = w.shownAfter < 0 && !(w.byHandOnly && slices.Contains(w.codes[:], true))
	}
	unseen := w.spoilt && (w.shownAfter < 0 || w.shownAfter > showWithin)
	switch {
	case unseen:
		j.breaks(RuleUnseen, "planned %d, said %d, fell %d; %s", w.planned, w.said, w.fell, shownText(w))
	case w.spoilt && !j.trouble && !j.mute:
		j.breaks(RuleHistory, "planned %d, said %d, fell %d, and the history knows of no trouble", w.planned, w.said, w.fell)
	}
	j.spoilt = j.spoilt || w.spoilt && !unseen
	if j.spoilt && code == 0 {
		j.breaks(RuleForgotten, "the light is dark; planned %d, said %d, fell %d", w.planned, w.said, w.fell)
	}
	if err == nil && code != 0 && status.Faults == 0 {
		j.breaks(RuleStatus, "the light shows %s, the status nothing", faultName(code))
	}
	if now.Sub(j.ate)-j.hungry > j.plan.gap+hungryAfter && code == 0 {
		j.breaks(RuleHungry, "nothing fell for %v, and the light is dark", now.Sub(j.ate).Round(time.Minute))
	}
}

// asBefore: all is mended and acknowledged.
func (j *judge) asBefore(w window, now time.Time) {
	if off := w.fell - w.planned; (off > 1 || off < -1) && !(j.clock && j.lastWasFault()) {
		j.breaks(RuleMended, "planned %d, fell %d", w.planned, w.fell)
	}
	if code := j.light.now(now); code != 0 {
		j.breaks(RuleMended, "the light still shows %s", faultName(code))
	}
}

// lastWasFault: this window begins before the fault was mended. A clock that was wrong may have put the evening's serving into
// it.
func (j *judge) lastWasFault() bool { return j.probed.Before(j.plan.mend) }

// worn extrapolates the wear of the most written cell.
func (j *judge) worn() {
	days := j.b.Now().Sub(j.from).Hours() / 24
	most, cell := uint32(0), 0
	for i, n := range j.b.MCU().CellWrites() {
		if d := n - j.cells[i]; d > most {
			most, cell = d, i
		}
	}
	if j.plan.mend.IsZero() { // too short to tell a rate from a few records
		if most > mostInAnEvening && !j.hands {
			j.breaks(RuleWear, "cell %d: %d writes in an evening", cell, most)
		}
		return
	}
	if j.hands {
		return // nobody presses, or opens the port, like that for ten years
	}
	if years := cellLife * days / 365.25 / float64(max(most, 1)); years < lastYears {
		j.breaks(RuleWear, "cell %d: %d writes in %.1f days, used up in %.1f years", cell, most, days, years)
	}
}

func shownText(w window) string {
	var names []string
	for code, on := range w.codes {
		if on {
			names = append(names, faultName(code))
		}
	}
	switch {
	case len(names) == 0:
		return "nothing shown"
	case w.shownAfter < 0:
		return strings.Join(names, ", ") + " shown before, and no more"
	}
	return strings.Join(names, ", ") + " shown after " + w.shownAfter.Round(time.Second).String()
}

func latest(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
