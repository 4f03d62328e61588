package main

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"mealtab/compiler/prose"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
	"mealtab/flasher"
)

type serveFlags struct {
	portFlags
	portion string
}

func (a *app) serveCommand() *cobra.Command {
	var f serveFlags
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "Feed now",
		Long: `Let a feeder serve now, as its button does, and within the same limits: so many times in an hour and in
a day as its table says, 20 pockets at once, and 40 in 24 hours. However often the request has to be
sent on a bad line, the feeder serves once. A weight becomes whole pockets, and what is
given is said.

Keep fingers and paws off the wheel.`,
		Example: `  mealtab serve
  mealtab serve --portion "12 g"
  mealtab serve --portion "2 pockets"`,
		Args: none,
		RunE: func(*cobra.Command, []string) error {
			return a.each(f.portFlags, func(s *session) error { return s.serve(f.portion) })
		},
	}
	f.register(cmd.Flags())
	cmd.Flags().StringVar(&f.portion, "portion", "", "`AMOUNT`: a weight, or pockets (default: the button's portion)")
	return cmd
}

func (s *session) serve(portion string) error {
	st, tab, t, err := decodedInForce(s.Feeder)
	if err != nil {
		return err
	}
	amount := uint32(0)
	if portion != "" {
		if amount, err = massUnits(t, portion); err != nil {
			return err
		}
	}
	pockets, err := s.Serve(st, amount)
	if errors.Is(err, flasher.ErrRefused) {
		clock := serving.TableClock(t)
		if held, err := s.schedule(tab, ""); err == nil {
			clock = held.Clock // with the names of summer and winter time
		}
		return fmt.Errorf("%s: the feeder refuses: %s", s.Port(), refusal(s.Feeder, t, amount, clock))
	}
	if err != nil {
		return err
	}
	fmt.Fprintf(&s.out, "serving %s on %s\n", flasher.AmountWords(t, pockets), s.Port())
	s.out.WriteString(prose.Wrap("  ", servedWords(t, st, portion, amount, pockets)))
	return nil
}

// servedWords says how what is served differs from what was asked for, and what may still be given by hand.
func servedWords(t *table.Table, st flasher.Status, portion string, amount uint32, pockets int) string {
	var parts []string
	asked, err := units.ParseMass(portion)
	if weighed := err == nil && t.Wheel.UnitMg > 0; weighed && int64(asked) != int64(pockets)*t.Wheel.PocketMg() {
		text := fmt.Sprintf("%s was asked for, and the wheel turns whole pockets of %s", portion, units.Milligrams(t.Wheel.PocketMg()))
		if int64(asked) == int64(amount)*int64(t.Wheel.UnitMg) { // else the request itself was rounded to what a table can say
			text += ": what is over or short is made good with the next servings"
		}
		parts = append(parts, text)
	}
	left := max(0, min(st.HourLeft, st.DayLeft)-1)
	parts = append(parts, fmt.Sprintf("by button or line the feeder allows %s more now, and %s in the 24 hours from the first",
		units.Count(left, "serving"), units.Count(max(0, table.MaxAskedDay-st.Asked-pockets), "pocket")))
	return strings.Join(parts, "; ")
}

// mostServed bounds what may be asked for: a plan's largest portion.
const mostServed = 5 * units.Kilogram

// massUnits reads an amount in a table's own unit, rounded to the nearest.
func massUnits(t *table.Table, text string) (uint32, error) {
	number, isPockets := pocketCount(text)
	switch {
	case isPockets && number < 1:
		return 0, usagef("--portion %q: at least 1 pocket is wanted", text)
	case isPockets && number > table.MaxAsked:
		return 0, usagef("--portion %q: at most %d pockets are served at once", text, table.MaxAsked)
	case isPockets:
		return uint32(number) * t.Wheel.PocketUnits, nil
	}
	m, err := units.ParseMass(text)
	if err != nil {
		return 0, usagef("--portion %q: a weight of at most %v is wanted, such as \"12 g\", or pockets, such as \"2 pockets\"", text, mostServed)
	}
	if m <= 0 || m > mostServed {
		return 0, usagef("--portion %q is outside 0 to %v", text, mostServed)
	}
	if t.Wheel.UnitMg == 0 {
		return 0, usagef("--portion %q is a weight, but the feeder's table does not say what a pocket holds; give pockets", text)
	}
	wanted := max(uint32(math.Round(float64(m)/float64(t.Wheel.UnitMg))), 1)
	if most := table.MaxAsked * t.Wheel.PocketUnits; wanted > most {
		return 0, usagef("--portion %q: at most %d pockets are served at once, %s with this wheel", text, table.MaxAsked, units.Milligrams(int64(table.MaxAsked)*t.Wheel.PocketMg()))
	}
	return wanted, nil
}

// pocketCount reads "2 pockets".
func pocketCount(text string) (n int, ok bool) {
	f := strings.Fields(text)
	if len(f) != 2 || f[1] != "pocket" && f[1] != "pockets" {
		return 0, false
	}
	n, err := strconv.Atoi(f[0])
	return n, err == nil
}
