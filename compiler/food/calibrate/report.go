package calibrate

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"mealtab/compiler/prose"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

// Report is what is said about weighings, the time of a pocket and the stop pulse, and what follows for a plan.
type Report struct {
	Turn  units.Milliseconds // of a pocket, in force: the plan's, else the board's
	Trim  units.Microseconds // in force
	Doubt string             // why the plan should not be changed yet; "": it may be

	found []Setting // as it was found
	text  strings.Builder
}

// Weighings reports on one pocket. The indices of drop are left out; at least one weighing must be left.
func (r *Report) Weighings(list []Weighing, drop []int) {
	kept := Without(list, drop)
	outliers := map[int]bool{}
	for _, i := range Outliers(kept) {
		outliers[i] = true
	}
	fmt.Fprint(&r.text, "Weighings\n")
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
		fmt.Fprintf(&r.text, "%4d  %4s  %10s  %6.2f g each%s\n", i+1, fmt.Sprintf("%d x", w.Pockets), w.Mass, w.Mass.Grams()/float64(w.Pockets), note)
	}
	all := Pockets(kept)
	r.pocket(all)
	r.standOut(kept, outliers)
	if turn, ok := Turn(kept); ok {
		fmt.Fprintf(&r.text, "  time            %s a pocket, as measured\n", turn)
		r.set("turn", fmt.Sprintf("%.0f ms", float64(turn)))
	}
	r.set("pocket", all.Pocket().String())
	r.Doubt = doubts(all, len(outliers))
}

// loose is the half-width from which a plan is better left as it is: every meal would be wrong by as much.
const loose = 0.10

// doubts says why a plan should not be changed yet; "" if it may be.
func doubts(r Result, outliers int) string {
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

func (r *Report) pocket(of Result) {
	b := &r.text
	g := func(mg float64) string { return fmt.Sprintf("%.2f g", mg/1000) }
	fmt.Fprintf(b, "\nOne pocket\n  mean            %s, from %s in %s\n", g(of.Mean), units.Count(of.Pockets, "pocket"), units.Count(of.Count, "weighing"))
	switch {
	case math.IsInf(of.Half, 1):
		fmt.Fprint(b, "  one weighing says nothing about the spread: weigh twice more at least\n")
	case of.Rounded:
		fmt.Fprintf(b, "  spread          less than the scale shows (%s)\n", of.Step)
		fmt.Fprintf(b, "  within          ±%.1f %%, the scale's last digit\n", 100*of.Relative())
	default:
		fmt.Fprintf(b, "  spread          %s, standard deviation of a single pocket\n", g(of.Spread))
		fmt.Fprintf(b, "  95 %% interval   %s to %s (±%.1f %%; Student's t, %s)\n", g(of.Mean-of.Half), g(of.Mean+of.Half), 100*of.Relative(),
			units.Count(of.Count-1, "degree")+" of freedom")
	}
	if more := of.More(Goal); more > 0 {
		fmt.Fprintf(b, "  to do           about %s more for ±%.0f %%\n", units.Count(more, "weighing"), 100*Goal)
	} else {
		fmt.Fprintf(b, "  to do           nothing: ±%.0f %% is reached\n", 100*Goal)
	}
	if n := of.Coarse(); n > 0 {
		fmt.Fprintf(b, "  scale           its last digit is %s: turn %d pockets or more for each weighing\n", of.Step, n)
	}
}

// standOut says what the mean would be without the weighings that stand out.
func (r *Report) standOut(list []Weighing, outliers map[int]bool) {
	if len(outliers) == 0 {
		return
	}
	var drop []int
	for i := range list {
		if outliers[i] {
			drop = append(drop, i)
		}
	}
	left := Pockets(Without(list, drop))
	r.text.WriteString(prose.Wrap("  stands out      ", fmt.Sprintf("%s (Grubbs' test, 5 %%). Was the scale not tared, or the wheel blocked? Without, the mean is %.2f g ±%.1f %%: repeat it, or leave it out with --without",
		units.Count(len(drop), "weighing"), left.Mean/1000, 100*left.Relative())))
}

func (r *Report) set(key, value string) {
	r.found = append(r.found, Setting{Key: key, Value: value})
}

// TurnByCount corrects the time of a pocket: so many pockets were asked for, by time, and so many turned.
func (r *Report) TurnByCount(asked, turned float64) {
	turn := TurnByCount(r.Turn, asked, turned)
	fmt.Fprintf(&r.text, "%sTurn\n  %g pockets were asked for and %g turned: %s becomes %.0f ms a pocket (%+.1f %%)\n",
		r.gap(), asked, turned, r.Turn, float64(turn), 100*(asked/turned-1))
	if asked < 30 {
		fmt.Fprint(&r.text, "  over 30 pockets and more the start and the stop matter less: repeat it with more\n")
	}
	r.text.WriteString(prose.Wrap("  ", "The time changes with the supply and the load: repeat this with full cells and with weak ones, and prefer an index switch."))
	r.set("turn", fmt.Sprintf("%.0f ms", float64(turn)))
}

func (r *Report) gap() string {
	if r.text.Len() > 0 {
		return "\n"
	}
	return ""
}

// Still finds the stop pulse from the least and the greatest trim with which the wheel stands still.
func (r *Report) Still(from, to units.Microseconds) error {
	return r.stopPulse(Trim(from, to), fmt.Sprintf("the middle of %s to %s, where the wheel stands still", min(from, to), max(from, to)))
}

// Creep finds it from the time in which one pocket creeps by while the wheel should stand.
func (r *Report) Creep(each units.Milliseconds, forward bool) error {
	return r.stopPulse(TrimByCreep(r.Trim, r.Turn, each, forward),
		"a first guess from the speed, if longer pulses turn it forward; then look for the trims at which it stands still, and use --still")
}

func (r *Report) stopPulse(trim units.Microseconds, why string) error {
	if trim < -table.MaxTrim || trim > table.MaxTrim {
		return fmt.Errorf("a trim of %s is beyond ±%d us: turn the servo's own potentiometer, or check the wiring", trim, table.MaxTrim)
	}
	fmt.Fprintf(&r.text, "%sStop pulse\n", r.gap())
	r.text.WriteString(prose.Wrap(fmt.Sprintf("  trim %s becomes %s: ", r.Trim, trim), why))
	r.set("trim", trim.String())
	return nil
}

// Settings are what belongs into the [wheel] table, in its order; of a key that was found twice the last value.
func (r *Report) Settings() (list []Setting) {
	last := map[string]string{}
	for _, s := range r.found {
		last[s.Key] = s.Value
	}
	for _, key := range []string{"pocket", "turn", "trim"} {
		if value, ok := last[key]; ok {
			list = append(list, Setting{Key: key, Value: value})
		}
	}
	return list
}

// Text is the report for reading, with what belongs into the plan.
func (r *Report) Text() string {
	var b strings.Builder
	b.WriteString(r.text.String())
	b.WriteString("\nFor the plan\n  [wheel]\n")
	for _, s := range r.Settings() {
		fmt.Fprintf(&b, "  %-6s = %q\n", s.Key, s.Value)
	}
	return b.String()
}
