// Package calibrate finds what one pocket of the wheel holds, how long it takes to turn, and the pulse at which the servo
// stands still.
//
// In: weighings of several pockets at a time (typed, CSV, or asked for one by one), times, counts of what a timed wheel
// really turned. Out: mean, spread and confidence interval per pocket, weighings that stand out, how many more are needed,
// and the [wheel] table of a plan, edited so that every other byte stays as it was. The interval is Student's t; outliers
// are named by Grubbs' test (NIST/SEMATECH e-Handbook of Statistical Methods 1.3.5.2 and 1.3.5.17.1).
package calibrate

import (
	"cmp"
	"math"
	"slices"

	"mealtab/compiler/units"
)

// Weighing is what some pockets gave together.
type Weighing struct {
	Pockets int
	Mass    units.Milligrams
	Step    units.Milligrams   // last digit of the scale, as far as the figure shows it
	Time    units.Milliseconds // of the turn; 0: not measured
}

func (w Weighing) each() float64 { return float64(w.Mass) / float64(w.Pockets) }

// Goal is the relative half-width of the confidence interval that is good enough for feeding: the animals themselves vary
// more. A design judgement.
const Goal = 0.03

// Confidence of the interval.
const confidence = 0.95

// significance of the test for outliers, two-sided.
const significance = 0.05

// Result is what weighings say about one pocket. Masses are milligrams, as fractions.
type Result struct {
	Count   int
	Pockets int     // all together
	Mean    float64 // of one pocket
	// Spread is the standard deviation of a single pocket, if the pockets of a weighing vary independently; that of a
	// weighing's average is smaller by the root of its pockets.
	Spread float64
	Half   float64 // half-width of the 95 % interval of Mean; +Inf for a single weighing
	// Rounded is set when the weighings do not differ at all: then the interval is the scale's last digit.
	Rounded bool
	Step    units.Milligrams // coarsest
}

// Relative is the half-width as a share of the mean.
func (r Result) Relative() float64 { return r.Half / r.Mean }

// Pocket is the mean as a plan should have it: to 10 mg, from 10 g on to 0.1 g.
func (r Result) Pocket() units.Milligrams {
	step := 10 * units.Gram / 1000
	if r.Mean >= float64(10*units.Gram) {
		step = units.Gram / 10
	}
	return max(step, units.Milligrams(math.Round(r.Mean)).Round(step))
}

// Pockets estimates one pocket from at least one weighing. Weighings of more pockets count for more: the estimate is all
// mass over all pockets, which for equal weighings is the plain average.
func Pockets(list []Weighing) Result {
	r := Result{Count: len(list)}
	var mass float64
	for _, w := range list {
		r.Pockets += w.Pockets
		mass += float64(w.Mass)
		r.Step = max(r.Step, w.Step)
	}
	r.Mean = mass / float64(r.Pockets)
	r.Spread, r.Half = spread(list, r.Mean, r.Pockets)
	if rounding := float64(r.Step) / 2 * float64(r.Count) / float64(r.Pockets); r.Count > 1 && r.Spread == 0 {
		r.Half, r.Rounded = rounding, true
	}
	return r
}

// spread gives the standard deviation of a pocket and the half-width of the interval of the mean.
func spread(list []Weighing, mean float64, pockets int) (sd, half float64) {
	if len(list) < 2 {
		return 0, math.Inf(1)
	}
	var sum float64
	for _, w := range list {
		d := w.each() - mean
		sum += float64(w.Pockets) * d * d
	}
	df := len(list) - 1
	sd = math.Sqrt(sum / float64(df))
	return sd, studentQuantile((1+confidence)/2, df) * sd / math.Sqrt(float64(pockets))
}

// most bounds the search for more weighings.
const most = 10_000

// More is how many more weighings, of as many pockets as those so far, bring the interval to the goal; the spread is taken
// to stay as it is. At least three are wanted in all.
func (r Result) More(goal float64) int {
	perWeighing := float64(r.Pockets) / float64(r.Count)
	for n := max(3, r.Count); n < most; n++ {
		if n == r.Count && r.Relative() <= goal {
			return 0
		}
		if r.Count > 1 && studentQuantile((1+confidence)/2, n-1)*r.Spread/math.Sqrt(perWeighing*float64(n)) <= goal*r.Mean && n > r.Count {
			return n - r.Count
		}
		if r.Count == 1 {
			return 2
		}
	}
	return most
}

// Coarse gives the pockets that a weighing needs so that the scale's last digit is at most 1 % of it either way; 0 when the
// weighings have as many.
func (r Result) Coarse() int {
	need := int(math.Ceil(float64(r.Step) / 2 / (0.01 * r.Mean)))
	if need*r.Count <= r.Pockets {
		return 0
	}
	return need
}

// Outliers are the indices of weighings that stand out, ascending, found one after the other. What the scale cannot tell
// apart does not: its rounding counts as spread, and one step either way is none.
func Outliers(list []Weighing) (found []int) {
	left := make([]int, len(list))
	for i := range left {
		left[i] = i
	}
	for {
		i, g, critical := grubbs(list, left)
		if i < 0 || g <= critical {
			slices.Sort(found)
			return found
		}
		found = append(found, left[i])
		left = slices.Delete(left, i, i+1)
	}
}

// grubbs gives the index, in left, of the weighing farthest from the mean, its distance in standard deviations and what it
// would be allowed. Index -1: there are too few, or none is more than a step of the scale away.
func grubbs(list []Weighing, left []int) (at int, g, critical float64) {
	kept := make([]Weighing, len(left))
	for i, l := range left {
		kept[i] = list[l]
	}
	if len(kept) < 3 {
		return -1, 0, 0
	}
	r, step := Pockets(kept), scaleStep(kept)
	// A figure rounded to a step varies by step/√12 (uniform distribution). Where most weighings read the same, that is all
	// the spread there is, and without it Grubbs' test would name any other reading.
	rounding := step * step / 12
	at = -1
	for i, w := range kept {
		pockets := float64(w.Pockets)
		off := math.Abs(w.each()-r.Mean) * pockets
		if off <= step {
			continue
		}
		if d := off / math.Sqrt(pockets*r.Spread*r.Spread+rounding); d > g {
			at, g = i, d
		}
	}
	return at, g, grubbsCritical(len(kept), significance/2)
}

// enoughForStep weighings that are all even would be so by chance once in 32 times.
const enoughForStep = 5

// scaleStep is what the scale counts by, in milligrams: the finest last digit written, or two or five of it where enough
// weighings are all multiples of that, as with scales that count by 2 g or 5 g.
func scaleStep(list []Weighing) float64 {
	digit := float64(list[0].Step)
	for _, w := range list {
		digit = min(digit, float64(w.Step))
	}
	if digit == 0 || len(list) < enoughForStep {
		return digit
	}
	for _, digits := range []int64{5, 2} {
		if !slices.ContainsFunc(list, func(w Weighing) bool { return int64(math.Round(float64(w.Mass)/digit))%digits != 0 }) {
			return digit * float64(digits)
		}
	}
	return digit
}

// grubbsCritical is the largest distance that Grubbs' test lets pass, for the significance of one side.
func grubbsCritical(n int, oneSided float64) float64 {
	t := studentQuantile(1-oneSided/float64(n), n-2)
	return float64(n-1) / math.Sqrt(float64(n)) * math.Sqrt(t*t/(float64(n-2)+t*t))
}

// Without leaves out weighings by index.
func Without(list []Weighing, drop []int) (kept []Weighing) {
	for i, w := range list {
		if !slices.Contains(drop, i) {
			kept = append(kept, w)
		}
	}
	return kept
}

// Turn is the time of one pocket from the weighings that have times; ok is false when none has.
func Turn(list []Weighing) (each units.Milliseconds, ok bool) {
	var time units.Milliseconds
	pockets := 0
	for _, w := range list {
		if w.Time > 0 {
			time += w.Time
			pockets += w.Pockets
		}
	}
	if pockets == 0 {
		return 0, false
	}
	return time / units.Milliseconds(pockets), true
}

// TurnByCount corrects a turn time: asked pockets were turned by time and the wheel really made turned ones.
func TurnByCount(now units.Milliseconds, asked, turned float64) units.Milliseconds {
	return now * units.Milliseconds(asked/turned)
}

// Trim is the middle of the stop pulses at which the servo stands still, rounded to the microsecond. A servo has a dead
// band of a few microseconds; in its middle neither warmth nor supply makes it creep.
func Trim(low, high units.Microseconds) units.Microseconds {
	low, high = min(low, high), max(low, high)
	return low + (high-low)/2
}

// fullSpeed is how far from the stop pulse many continuous-rotation servos reach full speed (1.3 and 1.7 ms; from memory).
const fullSpeed = 200 // microseconds

// TrimByCreep is a first guess: below full speed the speed grows with the distance from the stop pulse, so a wheel that
// creeps a pocket in so many milliseconds is that far off. Forward is the direction of longer pulses.
func TrimByCreep(now units.Microseconds, turn, pocketTakes units.Milliseconds, forward bool) units.Microseconds {
	off := units.Microseconds(math.Round(fullSpeed * float64(turn/pocketTakes)))
	off = cmp.Or(off, 1)
	if forward {
		return now - off
	}
	return now + off
}
