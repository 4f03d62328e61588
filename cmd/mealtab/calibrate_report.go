package main

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"mealtab/compiler/food/calibrate"
	"mealtab/compiler/units"
)

// weighings reports on one pocket.
func (c *calibration) weighings(list []calibrate.Weighing) error {
	drop := make([]int, 0, len(c.f.without))
	for _, n := range c.f.without {
		if n < 1 || n > len(list) {
			return usagef("--without %d: there are weighings 1 to %d", n, len(list))
		}
		drop = append(drop, n-1)
	}
	kept := calibrate.Without(list, drop)
	if len(kept) == 0 {
		return usagef("--without leaves no weighing")
	}
	outliers := map[int]bool{}
	for _, i := range calibrate.Outliers(kept) {
		outliers[i] = true
	}
	b := &c.report
	fmt.Fprint(b, "Weighings\n")
	k := 0
	for i, w := range list {
		note := ""
		if slices.Contains(drop, i) {
			note = "   left out"
		} else {
			if outliers[k] {
				note = "   stands out"
			}
			k++
		}
		fmt.Fprintf(b, "%4d  %4s  %10s  %6.2f g each%s\n", i+1, fmt.Sprintf("%d x", w.Pockets), w.Mass, w.Mass.Grams()/float64(w.Pockets), note)
	}
	r := calibrate.Pockets(kept)
	c.pocket(r)
	c.standOut(kept, outliers)
	if turn, ok := calibrate.Turn(kept); ok {
		fmt.Fprintf(b, "  time            %s a pocket, as measured\n", turn)
		c.set("turn", fmt.Sprintf("%.0f ms", float64(turn)))
	}
	c.set("pocket", r.Pocket().String())
	c.doubt = doubts(r, len(outliers))
	return nil
}

// loose is the half-width from which a plan is better left as it is: every meal would be wrong by as much.
const loose = 0.10

// doubts says why a plan should not be changed yet; "" if it may be.
func doubts(r calibrate.Result, outliers int) string {
	switch {
	case r.Count < 3:
		return fmt.Sprintf("%s: at least 3 are wanted before a plan is changed", units.Count(r.Count, "weighing"))
	case outliers > 0:
		return fmt.Sprintf("%s out: repeat it, or leave it out with --without", map[bool]string{true: "a weighing stands", false: "some weighings stand"}[outliers == 1])
	case r.Relative() > loose:
		return fmt.Sprintf("±%.0f %% is too uncertain", 100*r.Relative())
	}
	return ""
}

func (c *calibration) pocket(r calibrate.Result) {
	b := &c.report
	g := func(mg float64) string { return fmt.Sprintf("%.2f g", mg/1000) }
	fmt.Fprintf(b, "\nOne pocket\n  mean            %s, from %s in %s\n", g(r.Mean), units.Count(r.Pockets, "pocket"), units.Count(r.Count, "weighing"))
	switch {
	case math.IsInf(r.Half, 1):
		fmt.Fprint(b, "  one weighing says nothing about the spread: weigh twice more at least\n")
	case r.Rounded:
		fmt.Fprintf(b, "  spread          less than the scale shows (%s)\n", r.Step)
		fmt.Fprintf(b, "  within          ±%.1f %%, the scale's last digit\n", 100*r.Relative())
	default:
		fmt.Fprintf(b, "  spread          %s, standard deviation of a single pocket\n", g(r.Spread))
		fmt.Fprintf(b, "  95 %% interval   %s to %s (±%.1f %%; Student's t, %s)\n", g(r.Mean-r.Half), g(r.Mean+r.Half), 100*r.Relative(),
			units.Count(r.Count-1, "degree")+" of freedom")
	}
	if more := r.More(calibrate.Goal); more > 0 {
		fmt.Fprintf(b, "  to do           about %s more for ±%.0f %%\n", units.Count(more, "weighing"), 100*calibrate.Goal)
	} else {
		fmt.Fprintf(b, "  to do           nothing: ±%.0f %% is reached\n", 100*calibrate.Goal)
	}
	if n := r.Coarse(); n > 0 {
		fmt.Fprintf(b, "  scale           its last digit is %s: turn %d pockets or more for each weighing\n", r.Step, n)
	}
}

// standOut says what the mean would be without the weighings that stand out.
func (c *calibration) standOut(list []calibrate.Weighing, outliers map[int]bool) {
	if len(outliers) == 0 {
		return
	}
	var drop []int
	for i := range list {
		if outliers[i] {
			drop = append(drop, i)
		}
	}
	r := calibrate.Pockets(calibrate.Without(list, drop))
	c.report.WriteString(wrap("  stands out      ", fmt.Sprintf("%s (Grubbs' test, 5 %%). Was the scale not tared, or the wheel blocked? Without, the mean is %.2f g ±%.1f %%: repeat it, or leave it out with --without",
		units.Count(len(drop), "weighing"), r.Mean/1000, 100*r.Relative())))
}

func (c *calibration) set(key, value string) {
	c.found = append(c.found, calibrate.Setting{Key: key, Value: value})
}

func (c *calibration) turnByCount() error {
	if c.f.asked == 0 {
		return nil
	}
	ratio := c.f.asked / c.f.turned
	if !(ratio >= 0.2 && ratio <= 5) { // NaN too
		return usagef("--asked %g and --turned %g differ too much: check the wheel first", c.f.asked, c.f.turned)
	}
	turn := calibrate.TurnByCount(c.turn, c.f.asked, c.f.turned)
	b := &c.report
	fmt.Fprintf(b, "%sTurn\n  %g pockets were asked for and %g turned: %s becomes %.0f ms a pocket (%+.1f %%)\n",
		c.gap(), c.f.asked, c.f.turned, c.turn, float64(turn), 100*(ratio-1))
	if c.f.asked < 30 {
		fmt.Fprint(b, "  over 30 pockets and more the start and the stop matter less: repeat it with more\n")
	}
	b.WriteString(wrap("  ", "The time changes with the supply and the load: repeat this with full cells and with weak ones, and prefer an index switch."))
	c.set("turn", fmt.Sprintf("%.0f ms", float64(turn)))
	return nil
}

func (c *calibration) gap() string {
	if c.report.Len() > 0 {
		return "\n"
	}
	return ""
}

// maxTrim is what a plan may have.
const maxTrim = 500

func (c *calibration) stopPulse() error {
	var trim units.Microseconds
	now := units.Microseconds(0)
	if c.plan != nil && c.plan.Wheel != nil {
		now = units.Microseconds(c.plan.Wheel.TrimMicros)
	}
	why := ""
	switch {
	case c.f.still != "":
		low, high, ok := strings.Cut(c.f.still, "..")
		from, err := units.ParsePulse(low)
		to, err2 := units.ParsePulse(high)
		if err = errors.Join(err, err2); !ok || err != nil {
			return usagef("--still %q: write the two ends, such as \"-18us..6us\"", c.f.still)
		}
		trim, why = calibrate.Trim(from, to), fmt.Sprintf("the middle of %s to %s, where the wheel stands still", min(from, to), max(from, to))
	case c.f.creep != "":
		each, err := units.ParseSpan(c.f.creep)
		if err != nil {
			return usagef("--creep: %v", err)
		}
		if each < 5*c.turn {
			return usagef("--creep %s: that is turning, not creeping (a pocket takes %s at full speed)", c.f.creep, c.turn)
		}
		trim = calibrate.TrimByCreep(now, c.turn, each, c.f.creeps == "forward")
		why = "a first guess from the speed, if longer pulses turn it forward; then look for the trims at which it stands still, and use --still"
	default:
		return nil
	}
	if trim < -maxTrim || trim > maxTrim {
		return fmt.Errorf("a trim of %s is beyond ±%d us: turn the servo's own potentiometer, or check the wiring", trim, maxTrim)
	}
	fmt.Fprintf(&c.report, "%sStop pulse\n", c.gap())
	c.report.WriteString(wrap(fmt.Sprintf("  trim %s becomes %s: ", now, trim), why))
	c.set("trim", trim.String())
	return nil
}

// settings shows what belongs into the plan.
func (c *calibration) settings() {
	order := []string{"pocket", "turn", "trim"}
	slices.SortStableFunc(c.found, func(a, b calibrate.Setting) int { return slices.Index(order, a.Key) - slices.Index(order, b.Key) })
	last := map[string]calibrate.Setting{}
	for _, s := range c.found {
		last[s.Key] = s
	}
	c.found = slices.CompactFunc(c.found, func(a, b calibrate.Setting) bool { return a.Key == b.Key })
	fmt.Fprintf(&c.report, "\nFor the plan\n  [wheel]\n")
	for i, s := range c.found {
		c.found[i] = last[s.Key]
		fmt.Fprintf(&c.report, "  %-6s = %q\n", s.Key, last[s.Key].Value)
	}
}
