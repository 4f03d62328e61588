package main

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"mealtab/cmd/mealtab/internal/known"
	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/cmd/mealtab/internal/preview"
	"mealtab/compiler/prose"
	"mealtab/compiler/replay"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
	"mealtab/flasher"
)

type presetFlags struct {
	portFlags
	until, plan string
	years       int
}

func (a *app) presetCommand() *cobra.Command {
	var f presetFlags
	cmd := &cobra.Command{
		Use:   "preset [NAME]",
		Short: "Say which of its presets a feeder serves, or choose another, perhaps until a date",
		Long: `A plan's meals may belong to presets, such as home and away. Say which one a feeder serves now and until
when, or choose one, by its name or number, as its plan button does.

With --until the preset ends by itself: at 00:00 of that date, local time, the first preset is in force
again, whether or not a computer is near. Until then the button works as ever, and after it too. The
date stands in the feeder's table: the same meals with another date are put on the feeder, read back,
rehearsed and put in force as by upload, and then the preset is set. If anything interrupts that the
feeder goes on with the preset that it had; the same command finishes it. The plan's file stays as it
is: a later upload of it keeps the feeder's date as long as that lies ahead.

A feeder is never an animal's only care: let somebody look in every day while you are away.`,
		Example: `  mealtab preset                               which is in force, and until when
  mealtab preset away --until 2026-12-20       home again on the 20th
  mealtab preset away --until never            until somebody changes it
  mealtab preset home`,
		Args: func(_ *cobra.Command, args []string) error {
			switch {
			case len(args) > 1:
				return errors.New("one NAME of a preset is wanted")
			case len(args) == 0 && f.until != "":
				return errors.New("--until says when a preset ends: give the preset's NAME too")
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			until, err := untilDate(f.until)
			if err != nil {
				return err
			}
			return a.each(f.portFlags, func(s *session) error {
				if len(args) == 0 {
					return s.showPresets(f.plan)
				}
				return s.setPreset(args[0], until, f)
			})
		},
	}
	f.register(cmd.Flags())
	cmd.Flags().StringVar(&f.until, "until", "", "`DATE` from which on the first preset is in force again; never: the preset stays")
	cmd.Flags().StringVar(&f.plan, "plan", "", "call presets and meals as this `PLAN` does (default: as the plan that this computer put on a feeder)")
	cmd.Flags().IntVar(&f.years, "rehearse", 1, "where the date is another, rehearse the table for `N` years on the firmware; 0: not")
	return cmd
}

// untilDate reads --until; nil: it was not given.
func untilDate(text string) (*table.Day, error) {
	switch text {
	case "":
		return nil, nil
	case "never":
		return new(table.Day), nil
	}
	day, err := moment.Date(text)
	if err != nil {
		return nil, usagef("--until: %v, or never", err)
	}
	return &day, nil
}

// presets are those of the table that a feeder holds.
type heldPresets struct {
	*serving.Schedule
	tab   []byte
	known known.Names
	st    flasher.Status
}

func (s *session) presets(planName string) (*heldPresets, error) {
	st, tab, err := inForce(s.Feeder)
	if err != nil {
		return nil, err
	}
	held, err := s.schedule(tab, planName)
	if err != nil {
		return nil, err
	}
	if held.Table.Presets < 2 {
		return nil, fmt.Errorf("%s: the feeder's plan has no presets: give meals presets = [\"home\"] or [\"away\"] in the plan, and upload it", s.Port())
	}
	names, _ := known.Of(tab)
	return &heldPresets{held, tab, names, st}, nil
}

// name is "away (preset 2)", or "preset 2" where this computer does not know its name.
func (h *heldPresets) name(preset int) string { return presetName(h.known.Presets, preset) }

func presetName(names []string, preset int) string {
	if preset < len(names) {
		return fmt.Sprintf("%s (preset %d)", names[preset], preset+1)
	}
	return fmt.Sprintf("preset %d", preset+1)
}

// presetWords says which preset is in force on a feeder, and until when: "away (preset 2) until Sun 2026-12-20 00:00 WET, then home (preset 1)".
func presetWords(held *serving.Schedule, names []string, st flasher.Status) string {
	text := presetName(names, st.Preset)
	if st.Preset == 0 {
		return text
	}
	if end := replay.PresetEndAfter(held.Table, st.Cursor); end != 0 {
		return fmt.Sprintf("%s until %s, then %s", text, serving.Local(held.Clock, end.Time()).Format(serving.TimeLayout), presetName(names, 0))
	}
	return text + " until somebody changes it"
}

// find is the index of a preset by its name or number.
func (h *heldPresets) find(want string) (int, error) {
	for _, same := range []func(a, b string) bool{func(a, b string) bool { return a == b }, strings.EqualFold} {
		if i := slices.IndexFunc(h.known.Presets, func(name string) bool { return same(name, want) }); i >= 0 {
			return i, nil
		}
	}
	if n, err := strconv.Atoi(want); err == nil && n >= 1 && n <= h.Table.Presets {
		return n - 1, nil
	}
	if len(h.known.Presets) == 0 {
		return 0, usagef("%q is none of the presets 1 to %d: this computer does not know their names, --plan PLAN tells them", want, h.Table.Presets)
	}
	return 0, usagef("%q is no preset of the feeder; it has %s", want, strings.Join(h.known.Presets, ", "))
}

// local is an instant as the feeder's owner reads it.
func (h *heldPresets) local(at table.Minute) string {
	return serving.Local(h.Clock, at.Time()).Format(serving.TimeLayout)
}

// inForceWords says which preset is in force, and until when.
func (h *heldPresets) inForceWords(st flasher.Status) string {
	return "in force: " + presetWords(h.Schedule, h.known.Presets, st)
}

func (s *session) showPresets(planName string) error {
	h, err := s.presets(planName)
	if err != nil {
		return err
	}
	s.out.WriteString(prose.Wrap("  ", h.inForceWords(h.st)))
	var others []string
	for i := range h.Table.Presets {
		if i != h.st.Preset {
			others = append(others, h.name(i))
		}
	}
	s.out.WriteString(prose.Wrap("  others: ", strings.Join(others, ", ")))
	return nil
}

func (s *session) setPreset(want string, until *table.Day, f presetFlags) error {
	h, err := s.presets(f.plan)
	if err != nil {
		return err
	}
	preset, err := h.find(want)
	if err != nil {
		return err
	}
	if err := h.check(preset, until); err != nil {
		return err
	}
	c, err := s.ProposePreset(preset, until)
	if err != nil {
		return err
	}
	if c.Clock.Need() != flasher.ClockGood && c.Clock.Need() != flasher.ClockSmall && preset > 0 && c.Until != 0 {
		s.out.WriteString(prose.Wrap("  clock      ", preview.ClockNeed(c.Clock)+"; the preset ends by the feeder's clock"))
	}
	if c.Writes() {
		if err := s.putDate(h, c, f.years); err != nil {
			return err
		}
	}
	st, err := c.Set()
	if err != nil {
		return err
	}
	s.out.WriteString(prose.Wrap("  ", h.inForceWords(st)))
	if preset > 0 && c.Until != 0 {
		return s.showEnd(h, st)
	}
	return s.showNext(h.Schedule, "Next servings, as the feeder itself computes them")
}

// check refuses dates that cannot end a preset.
func (h *heldPresets) check(preset int, until *table.Day) error {
	if until == nil || *until == 0 {
		return nil
	}
	if preset == 0 {
		return usagef("%s is the first preset, which is in force from the date on: --until is for another one", h.name(0))
	}
	dated := *h.Table
	dated.PresetUntil = *until
	switch now := moment.Minute(h.st.Now); {
	case *until > h.Table.Through:
		return usagef("--until %s: the feeder's table is right through %s only, and nothing is served after that: upload the plan again", *until, h.Table.Through)
	case *until <= h.Table.Start || replay.PresetEnd(&dated) <= now:
		return usagef("--until %s: that day has begun already by the feeder's clock, which shows %s", *until, h.local(now))
	}
	return nil
}

// putDate puts the same meals with the other date on the feeder.
func (s *session) putDate(h *heldPresets, c *flasher.PresetChange, years int) error {
	next, err := serving.OfTable(c.Table)
	if err != nil {
		return err
	}
	next.Names, next.Title, next.Zone, next.Clock = h.Names, h.Title, h.Zone, h.Clock
	if h.known.Table != nil {
		_ = known.Keep(c.Table, h.known)
	}
	db, err := s.a.database()
	if err != nil {
		return err
	}
	rehearsing := s.a.startRehearsal(&cargo{c.Table, next, db, nil}, years)
	if err := s.transfer(c.Proposal, rehearsing); err != nil {
		return err
	}
	h.Schedule, h.tab = next, c.Table
	return nil
}

// aroundEnd is how long before and after the end of a preset the feeder is asked what it will serve.
const aroundEnd = 36 * 60

// showEnd lets the feeder itself say what it will serve around the end of the preset, and compares that with the table.
func (s *session) showEnd(h *heldPresets, st flasher.Status) error {
	end := replay.PresetEndAfter(h.Table, st.Cursor)
	if end == 0 {
		return nil
	}
	from := max(end-aroundEnd, moment.Minute(st.Now))
	done := s.waiting("the feeder computes its servings around that day")
	list, err := s.Next(from, end+aroundEnd, 1<<10)
	done()
	if err != nil {
		return fmt.Errorf("the preset is in force, but the feeder could not be asked what comes then: %w", err)
	}
	w := h.Walk(serving.Range{From: from + 1, To: end + aroundEnd + 1, Until: end}, st.Preset)
	fmt.Fprint(&s.out, "Around the end of the preset, as the feeder itself computes it\n")
	said := false
	for i := 0; ; i++ {
		want, more := w.Next()
		for i < len(list) && list[i].At > end+aroundEnd {
			list = list[:i]
		}
		if more != (i < len(list)) || more && (want.At != list[i].At || len(want.Meals) != list[i].Meals) {
			return fmt.Errorf("%s: the feeder computes other servings around the end of the preset than its table says: put the first preset in force (mealtab preset 1) and report this", s.Port())
		}
		if !said && (!more || want.At >= end) {
			fmt.Fprintf(&s.out, "  %-26s  %s from here on\n", h.local(end), h.name(0))
			said = true
		}
		if !more {
			break
		}
		local := serving.Local(h.Clock, list[i].At.Time())
		fmt.Fprintf(&s.out, "  %-26s  %s  %s\n", local.Format(serving.TimeLayout), serving.Pad(h.MealWords(list[i].Meal, list[i].Meals), 22), units.Count(list[i].Pockets, "pocket"))
	}
	return nil
}
