package main

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/compiler/food/forecast"
	"mealtab/compiler/prose"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
	"mealtab/flasher"
	"mealtab/flasher/frame"
)

type hopperFlags struct {
	portFlags
	filled, holds, preset string
	told                  bool // --filled was given
}

func (a *app) hopperCommand() *cobra.Command {
	var f hopperFlags
	cmd := &cobra.Command{
		Use:   "hopper PLAN",
		Short: "Say when the hopper will be empty, and when to fill it again",
		Long: `Say how long the food in the hopper lasts with a plan, when to fill it again, and whether the food
stays fresh that long. The hopper was filled at --filled, with what the plan says it holds.

With a feeder on a serial port (--port, or --all) what it has really served since is asked of its
memory: servings by hand count too, and those missed or left out do not. With --filled now it is also
told that its hopper has just been filled, and with how much: from then on it counts the pockets itself,
and its light shows when an eighth, or less than two servings, is left. What was served before in this
minute is not counted. Holding the portion button down for three seconds tells it the same, with as much
as before.`,
		Example: `  mealtab hopper plan.toml
  mealtab hopper plan.toml --filled 2026-12-01T08:00
  mealtab hopper plan.toml --filled 2026-12-01T08:00 --holds "500 g"
  mealtab hopper plan.toml --filled 2026-12-01T08:00 --port /dev/ttyUSB0
  mealtab hopper plan.toml --filled now --port /dev/ttyUSB0     and tell the feeder so`,
		Args: one("PLAN"),
		RunE: func(cmd *cobra.Command, args []string) error {
			f.told = cmd.Flags().Changed("filled")
			return a.runHopper(args[0], f)
		},
	}
	flags := cmd.Flags()
	flags.SortFlags = false
	flags.StringVar(&f.filled, "filled", "now", "`TIME` at which it was filled: "+moment.Forms)
	flags.StringVar(&f.holds, "holds", "", "`MASS` of the food in it then (default: what the plan says the hopper holds)")
	flags.StringVar(&f.preset, "preset", "", "preset in force: its `NAME` or number (default: the first, or the feeder's)")
	flags.StringArrayVarP(&f.ports, "port", "p", nil, "ask the feeder on this serial `PORT`; may be repeated (default: no feeder is asked)")
	flags.BoolVar(&f.every, "all", false, "ask every feeder on a USB port")
	return cmd
}

// filling is a hopper with a plan.
type filling struct {
	c    *compiled
	at   table.Minute     // when it was filled
	full units.Milligrams // with how much
	now  bool             // it was filled just now: the feeder is told so
}

func (a *app) runHopper(name string, f hopperFlags) error {
	onBoard := f.every || len(f.ports) > 0
	if onBoard && !f.told {
		return usagef("a feeder knows what it has served, not when its hopper was filled: say so with --filled")
	}
	l, err := a.readPlan(name)
	if err != nil {
		return err
	}
	h, err := a.filling(name, l, f)
	if err != nil {
		return err
	}
	if h.c, err = a.compile(l, compileOptions{}); err != nil {
		return err
	}
	if onBoard {
		return a.each(f.portFlags, func(s *session) error { return s.showHopper(h, f.preset) })
	}
	preset, err := choosePreset(h.c.Table, h.c, f.preset)
	if err != nil {
		return err
	}
	in := h.input(h.c.Table, preset, 0)
	given, servings := forecast.Planned(in, moment.Minute(a.now))
	var b strings.Builder
	h.heading(&b)
	if h.at < moment.Minute(a.now) {
		fmt.Fprintf(&b, "  by the plan    %s since, %s\n", units.Count(servings, "serving"), given)
	}
	a.hopperLasts(&b, h, in, max(0, h.full-given))
	_, err = io.WriteString(a.out, b.String())
	return err
}

// filling reads when the hopper was filled, and with how much.
func (a *app) filling(name string, l *loaded, f hopperFlags) (*filling, error) {
	h := &filling{full: units.Milligrams(l.plan.Hopper), now: f.told && f.filled == "now"}
	if f.holds != "" {
		var err error
		if h.full, err = units.ParseMass(f.holds); err != nil {
			return nil, usagef("--holds: %v", err)
		}
	}
	at, err := moment.Parse(f.filled, l.zone, a.now)
	switch {
	case err != nil:
		return nil, usagef("--filled: %v", err)
	case at.At > moment.Minute(a.now):
		return nil, usagef("--filled %s is yet to come", f.filled)
	case h.full == 0:
		return nil, fmt.Errorf("%s does not say what the hopper holds: add a [hopper] table with holds = \"1.4 kg\", or give --holds", name)
	case l.plan.Wheel == nil || l.plan.Wheel.PocketMilligrams == 0:
		return nil, fmt.Errorf("%s does not say what a pocket of the wheel holds: add a [wheel] table with pocket = \"6.2 g\" (mealtab calibrate finds it out)", name)
	}
	h.at = at.At
	return h, nil
}

// input is the hopper as it was filled.
func (h *filling) input(t *table.Table, preset, adjust int) forecast.Input {
	return forecast.Input{Table: t, Left: h.full, From: h.at, Preset: preset, Adjust: adjust, Local: h.c.offsetMinutes}
}

func (h *filling) heading(b io.Writer) {
	fmt.Fprintf(b, "%s, hopper filled with %s on %s\n", title(h.c.plan), h.full, h.c.local(h.at))
}

// hopperLasts says how long what is left lasts from now on.
func (a *app) hopperLasts(b io.Writer, h *filling, in forecast.Input, left units.Milligrams) {
	now := moment.Minute(a.now)
	in.Left, in.From = left, now
	f := forecast.Predict(in)
	fmt.Fprintf(b, "  left now       %s\n", left)
	switch {
	case f.Lasts:
		fmt.Fprint(b, "  lasts          to the end of the plan\n")
	case f.Servings == 0:
		fmt.Fprint(b, "  lasts          not for one more serving: fill it now\n")
	default:
		fmt.Fprintf(b, "  lasts          %s: %s, the last on %s\n", units.Count(f.Days, "day"), units.Count(f.Servings, "whole serving"), h.c.local(f.Last))
		fmt.Fprintf(b, "  empty          %s, there is too little for that serving\n", h.c.local(f.Empty))
		refill := h.c.local(f.Refill) + ": food for a day and a half is left then"
		if f.Refill <= now {
			refill = "now: food for less than a day and a half is left"
		}
		fmt.Fprintf(b, "  refill by      %s\n", refill)
	}
	for _, note := range []string{forecast.Freshness(in.Dates(h.at, f.Last)), a.bag(h.c)} {
		if note != "" {
			fmt.Fprint(b, prose.Wrap("  fresh          ", note))
		}
	}
}

// bag is a note on the bag that the plan names; "" where it is still fresh, or not named.
func (a *app) bag(c *compiled) string {
	opened, err := time.Parse(time.DateOnly, c.plan.Food["opened"].Text)
	if err != nil {
		return ""
	}
	return forecast.Bag(opened, a.now)
}

// showHopper asks a feeder what it has served since.
func (s *session) showHopper(h *filling, wanted string) error {
	st, tab, t, err := decodedInForce(s.Feeder)
	if err != nil {
		return err
	}
	h.heading(&s.out)
	planned, err := table.WithPresetUntil(h.c.Bytes, t.PresetUntil) // which mealtab preset may have changed
	if err != nil {
		planned = h.c.Bytes
	}
	if !flasher.Holds(tab, planned) {
		s.out.WriteString(prose.Wrap("  note           ", "the feeder holds another table than this plan's: what follows is reckoned by the feeder's"))
		if t.Wheel.UnitMg == 0 || t.Wheel.PocketUnits == 0 {
			return fmt.Errorf("%s: the table on the feeder does not say what a pocket holds: upload the plan", s.Port())
		}
	}
	preset := replay.AllPresets
	if t.Presets > 0 {
		preset = st.Preset
	}
	if wanted != "" {
		if preset, err = choosePreset(t, h.c, wanted); err != nil {
			return err
		}
	}
	in := h.input(t, preset, st.Adjust)
	if wanted == "" {
		in.Until = replay.PresetEndAfter(t, st.Cursor)
	}
	if h.now { // what was served earlier in this minute came out of the filling before
		s.a.hopperLasts(&s.out, h, in, h.full)
		return s.tellFilled(h, t)
	}
	history, err := s.history(0)
	if err != nil {
		return err
	}
	s.a.hopperLasts(&s.out, h, in, s.leftInHopper(h, in, history))
	return nil
}

// tellFilled tells a feeder that its hopper has just been filled.
func (s *session) tellFilled(h *filling, t *table.Table) error {
	each := t.Wheel.PocketMg()
	pockets := int64(h.full) / each
	switch {
	case pockets < 1:
		return fmt.Errorf("%s: %s is less than one pocket of %s, so the feeder was told nothing", s.Port(), h.full, units.Milligrams(each))
	case pockets >= frame.HopperForget:
		return fmt.Errorf("%s: %s are %d pockets of %s; a feeder counts %d at most, so it was told nothing", s.Port(), h.full, pockets, units.Milligrams(each), frame.HopperForget-1)
	}
	holds, _, err := s.Hopper(int(pockets))
	if errors.Is(err, frame.StatusError(frame.BadRequest)) {
		s.out.WriteString(prose.Wrap("  on the feeder  ", "this board keeps no count of its own: it will not show when the hopper is nearly empty"))
		return nil
	}
	if err != nil {
		return err
	}
	s.out.WriteString(prose.Wrap("  on the feeder  ", fmt.Sprintf("counts down from %s; its light will show when an eighth, or less than two servings, is left", units.Count(holds, "pocket"))))
	return nil
}

// leftInHopper says what the feeder's memory tells; where that does not go back to the filling, the plan stands in.
func (s *session) leftInHopper(h *filling, in forecast.Input, history []table.History) units.Milligrams {
	full := h.full
	if len(history) > 0 && history[0].At > h.at && len(history) >= s.ID.HistorySlots {
		before, servings := forecast.Planned(in, history[0].At)
		s.out.WriteString(prose.Wrap("  not remembered ", fmt.Sprintf("what was served before %s, where the feeder's memory begins: by the plan %s, %s",
			h.c.local(history[0].At), units.Count(servings, "serving"), before)))
		full = max(0, full-before)
	}
	served := forecast.Count(history, h.at)
	text := fmt.Sprintf("%s by the plan and %d by hand since: %s, %s", units.Count(served.Planned, "serving"), served.ByHand, units.Count(max(0, served.Pockets), "pocket"), served.Mass(in.Table))
	if served.Missed > 0 {
		text += fmt.Sprintf("; %s missed", units.Count(served.Missed, "serving"))
	}
	if served.LeftOut > 0 {
		text += fmt.Sprintf("; %s left out", units.Count(served.LeftOut, "pocket"))
	}
	s.out.WriteString(prose.Wrap("  really served  ", text))
	left, _ := forecast.Left(in.Table, full, h.at, history)
	return left
}
