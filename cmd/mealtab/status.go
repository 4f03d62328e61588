package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"mealtab/cmd/mealtab/internal/known"
	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/cmd/mealtab/internal/preview"
	"mealtab/compiler/decompile"
	"mealtab/compiler/prose"
	"mealtab/compiler/report/history"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
	"mealtab/flasher"
	"mealtab/flasher/frame"
)

func (a *app) statusCommand() *cobra.Command {
	var f portFlags
	var zoneName, planName string
	var clear bool
	cmd := &cobra.Command{
		Use:   "status",
		Short: "Ask a feeder how it is, and when it will feed next",
		Long: `Ask a feeder what table it holds, whether anything is wrong, what time it has, and which servings
come next by its own reckoning. Where the time zone data at hand differ from the zone in the feeder's
table, say from when on and by how much: governments change their clocks, and then the plan wants
compiling and uploading again.

Faults that were seen stay shown, through resets and power cuts, until somebody acknowledges them: with
a press of any button, or with --clear. What still has a cause is shown again. Without --clear nothing is
changed on the feeder.`,
		Example: `  mealtab status
  mealtab status --port /dev/ttyUSB0 --zone Europe/Lisbon
  mealtab status --plan plan.toml            meals by their names, on another computer
  mealtab status --all                       every feeder on USB
  mealtab status --clear                     and acknowledge the faults it shows`,
		Args: none,
		RunE: func(*cobra.Command, []string) error {
			return a.each(f, func(s *session) error {
				if err := s.showStatus(planName, zoneName); err != nil || !clear {
					return err
				}
				return s.acknowledge()
			})
		},
	}
	f.register(cmd.Flags())
	cmd.Flags().StringVar(&zoneName, "zone", "", "the feeder is in this `ZONE` (default: the one whose data are most like the table's)")
	cmd.Flags().StringVar(&planName, "plan", "", planFlag)
	cmd.Flags().BoolVar(&clear, "clear", false, "acknowledge the faults that stay shown")
	return cmd
}

// shownOwn is how many of its servings a board is asked for.
const shownOwn = 5

// planFlag is the help of --plan.
const planFlag = "call meals as this `PLAN` does (default: as the plan that this computer put on a feeder)"

func (s *session) showStatus(planName, zoneName string) error {
	st, err := s.Status()
	if err != nil {
		return err
	}
	fmt.Fprintf(&s.out, "  board    %s on %s, firmware %s, %d bytes of EEPROM\n", s.BoardName(), s.Port(), firmwareText(s.ID.Firmware), s.ID.EEPROMSize)
	name, err := s.Name(st)
	if err != nil {
		return err
	}
	if name != "" {
		fmt.Fprintf(&s.out, "  name     %s\n", name)
	}
	tab, err := s.Table(st)
	if err != nil && !errors.Is(err, flasher.ErrNoTable) {
		return err
	}
	held, err := s.showTable(st, tab, planName)
	if err != nil {
		return err
	}
	if err := s.showClock(st); err != nil {
		return err
	}
	fmt.Fprintf(&s.out, "  supply   %s\n", supplyText(st))
	if text := hopperText(st); text != "" {
		fmt.Fprintf(&s.out, "  hopper   %s\n", text)
	}
	s.showFaults(st.Faults)
	if held == nil {
		return nil
	}
	if err := s.showZone(held, zoneName); err != nil {
		return err
	}
	return s.showNext(held, "Next servings, as the feeder itself computes them")
}

// showTable says what table is in force and returns it as a schedule; nil: there is none. The error is that of the plan which was given.
func (s *session) showTable(st flasher.Status, tab []byte, planName string) (*serving.Schedule, error) {
	if tab == nil {
		fmt.Fprint(&s.out, "  table    none: nothing will be served; mealtab upload puts one on the feeder\n")
		return nil, nil
	}
	if _, err := serving.OfTable(tab); err != nil {
		fmt.Fprintf(&s.out, "  table    not readable here: %v\n", err)
		return nil, nil
	}
	held, err := s.schedule(tab, planName)
	if err != nil {
		return nil, err
	}
	t := held.Table
	if held.Title != "" {
		fmt.Fprintf(&s.out, "  plan     %s\n", held.Title)
	}
	fmt.Fprintf(&s.out, "  table    %d of %d bytes, number %d in bank %d; %s, from %s through %s\n", len(tab), s.Map.TableRoom(), st.Sequence, st.Bank,
		units.Count(len(t.Meals), "meal"), dayText(t.Start), dayText(t.Through))
	portions := fmt.Sprintf("portions at %d %%", 10*st.Adjust)
	if t.Presets > 1 {
		names, _ := known.Of(tab)
		s.out.WriteString(prose.Wrap("  preset   ", presetWords(held, names.Presets, st)))
	}
	fmt.Fprintf(&s.out, "  set to   %s\n", portions)
	return held, nil
}

func dayText(d table.Day) string {
	return (table.Minute(d) * table.MinutesPerDay).Time().Format(time.DateOnly)
}

func (s *session) showClock(st flasher.Status) error {
	r, err := s.ReadClock()
	if errors.Is(err, flasher.ErrNoClock) {
		fmt.Fprintf(&s.out, "  clock    %v\n", err)
		return nil
	}
	if err != nil {
		return err
	}
	fmt.Fprintf(&s.out, "  clock    %s; %s\n", offsetText(r), setText(st.ClockSet))
	return nil
}

func offsetText(r flasher.Reading) string {
	if r.Stopped {
		return "has stood still, its time means nothing: mealtab clock --set"
	}
	text := preview.Apart(r.Offset)
	if r.Offset.Abs() >= time.Minute {
		text += ": mealtab clock --set"
	}
	return text
}

func setText(at time.Time) string {
	if at.IsZero() {
		return "never set over this line"
	}
	return "set " + at.Format("2006-01-02 15:04 UTC")
}

// supplyText is the supply at rest, and under the servo where that was measured.
func supplyText(st flasher.Status) string {
	text := fmt.Sprintf("%.2f V", float64(st.SupplyMV)/1000)
	if st.LoadedMV > 0 {
		text += fmt.Sprintf(" at rest, %.2f V at the lowest in the last turn of the wheel", float64(st.LoadedMV)/1000)
	}
	return text
}

// hopperText is the board's own forecast; "" where nobody has said what the hopper holds.
func hopperText(st flasher.Status) string {
	if st.Hopper < 0 {
		return ""
	}
	return fmt.Sprintf("%s left, by what was turned since it was filled", units.Count(st.Hopper, "pocket"))
}

// acknowledge clears the faults that stay, and says what is left.
func (s *session) acknowledge() error {
	st, err := s.Status()
	if err != nil {
		return err
	}
	shown := st.Faults
	left, err := s.ClearFaults(table.LatchedFaults)
	if err != nil {
		return err
	}
	switch {
	case shown&table.LatchedFaults == 0 && left == 0:
		fmt.Fprint(&s.out, "There was nothing to acknowledge: no fault is shown\n")
	case shown&table.LatchedFaults == 0:
		s.out.WriteString(prose.Wrap("There was nothing to acknowledge; still shown, because it has a cause: ", history.Faults(left)))
	case left == 0:
		fmt.Fprint(&s.out, "Acknowledged: no fault is shown now\n")
	default:
		s.out.WriteString(prose.Wrap("Acknowledged; still shown, because it has a cause: ", history.Faults(left)))
	}
	return nil
}

func (s *session) showFaults(faults int) {
	if faults == 0 {
		fmt.Fprint(&s.out, "  faults   none\n")
		return
	}
	head := "  faults   "
	for i, f := range table.FaultBits() {
		if faults&f.Value != 0 {
			s.out.WriteString(prose.Wrap(head, fmt.Sprintf("%s (the light shows %s)", f.Meaning, f.Unit)))
			head = "           "
			s.out.WriteString(prose.Wrap(head, "to do: "+table.Remedy(i)))
		}
	}
}

// showNext asks the board for its next servings and prints them with what the table says of their meals.
func (s *session) showNext(held *serving.Schedule, title string) error {
	end := s.waiting("the feeder computes its next servings")
	st, err := s.Status()
	after := moment.Minute(st.Now)
	var list []flasher.Due
	if err == nil {
		list, err = s.Next(after, min(after+366*table.MinutesPerDay, serving.End(held.Table)), shownOwn)
	}
	end()
	if err != nil {
		return err
	}
	fmt.Fprintf(&s.out, "%s\n", title)
	if len(list) == 0 {
		fmt.Fprint(&s.out, "  none within a year\n")
	}
	for _, d := range list {
		local := serving.Local(held.Clock, d.At.Time())
		fmt.Fprintf(&s.out, "  %-26s  %s  %s\n", local.Format(serving.TimeLayout), serving.Pad(held.MealWords(d.Meal, d.Meals), 22), units.Count(d.Pockets, "pocket"))
	}
	return nil
}

// showZone compares the table's zone with the time zone data at hand; a zone that agrees is the clock of what follows.
func (s *session) showZone(held *serving.Schedule, name string) error {
	db, err := s.a.database()
	if err != nil {
		return err
	}
	if name == "" {
		if same := decompile.Zones(held.Table, db, likelyZones(held.Zone)); len(same) > 0 {
			names := someNames(same, likelyZones(held.Zone))
			fmt.Fprintf(&s.out, "  zone     as in the time zone data at hand (%s): that of %s\n", db.Version(), names)
			if z, err := db.Load(names); err == nil { // one, whose names for summer and winter time are known
				held.Clock = z
			}
			return nil
		}
		nearest, _, ok := decompile.Nearest(held.Table, db, likelyZones(held.Zone))
		if held.Zone != "" {
			nearest, ok = held.Zone, true
		}
		if !ok {
			fmt.Fprintf(&s.out, "  zone     of no place in the time zone data at hand (%s); name yours with --zone\n", db.Version())
			return nil
		}
		name = nearest
	}
	z, err := db.Load(name)
	if err != nil {
		return usagef("--zone: %v", err)
	}
	at, inTable, inData, differs := decompile.Differs(z, held.Table, s.a.now)
	if !differs {
		fmt.Fprintf(&s.out, "  zone     that of %s from now on (time zone data %s)\n", name, db.Version())
		held.Clock = z
		return nil
	}
	s.out.WriteString(prose.Wrap("  zone     ", fmt.Sprintf("from %s on the table has %s, but %s has %s by time zone data %s: meals will be %s; compile and upload the plan again",
		at.Format("2006-01-02 15:04 UTC"), utcText(inTable), name, utcText(inData), db.Version(), shiftWords(inTable-inData))))
	return nil
}

// shiftWords says by how much meals are served at the wrong time: a table that is ahead serves early.
func shiftWords(seconds int) string {
	d := time.Duration(seconds) * time.Second
	if d > 0 {
		return fmt.Sprintf("%d min too early", int(d.Minutes()))
	}
	return fmt.Sprintf("%d min too late", -int(d.Minutes()))
}

// utcText is "UTC+1".
func utcText(seconds int) string { return strings.Trim(serving.OffsetWords("", seconds), " ()") }

// someNames is the likely one of the names, else the first few.
func someNames(names, likely []string) string {
	const shown = 2
	if len(names) <= shown || slices.Contains(likely, names[0]) {
		return names[0]
	}
	return fmt.Sprintf("%s and %d others", strings.Join(names[:shown], ", "), len(names)-shown)
}

// firmwareText is the version, and what to do about an older one.
func firmwareText(version int) string {
	if version < frame.FirmwareVersion {
		return fmt.Sprintf("%d (this program carries %d: mealtab install)", version, frame.FirmwareVersion)
	}
	return fmt.Sprint(version)
}
