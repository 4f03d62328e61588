package main

import (
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"mealtab/flasher"
)

type clockFlags struct {
	portFlags
	set, trim bool
}

func (a *app) clockCommand() *cobra.Command {
	var f clockFlags
	cmd := &cobra.Command{
		Use:   "clock",
		Short: "Compare a feeder's clock with this computer's, or set it",
		Long: `Compare a feeder's clock with this computer's to the millisecond, by the moment at which its seconds
change, and tell how fast it has run since it was set. After some days that says how to trim it.

The feeder's clock is UTC and knows nothing of daylight saving; the table does. This computer's clock
must be right: let it be set over the network.`,
		Example: `  mealtab clock
  mealtab clock --set
  mealtab clock --trim --set                trim the oscillator, then set`,
		Args: none,
		RunE: func(*cobra.Command, []string) error {
			return a.each(f.portFlags, func(s *session) error { return s.clock(f) })
		},
	}
	f.register(cmd.Flags())
	cmd.Flags().BoolVar(&f.set, "set", false, "set the clock")
	cmd.Flags().BoolVar(&f.trim, "trim", false, "write the ageing offset that the drift suggests")
	return cmd
}

func (s *session) clock(f clockFlags) error {
	st, err := s.Status()
	if err != nil {
		return err
	}
	r, err := s.ReadClock()
	if err != nil {
		return err
	}
	fmt.Fprintf(&s.out, "  clock    %s; %s\n", offsetText(r), setText(st.ClockSet))
	if err := s.drift(st, r, f.trim); err != nil {
		return err
	}
	if f.set {
		if r, err = s.SetClock(); err != nil {
			return err
		}
		fmt.Fprintf(&s.out, "  set      %s\n", offsetText(r))
	}
	return nil
}

// drift says how fast the clock runs and what would make it better.
func (s *session) drift(st flasher.Status, r flasher.Reading, trim bool) error {
	d, known := flasher.DriftSince(st.ClockSet, r)
	if !known {
		fmt.Fprint(&s.out, "  drift    not known: it shows some days after the clock was set\n")
		return nil
	}
	present, err := s.Ageing()
	if errors.Is(err, flasher.ErrUnsupported) {
		fmt.Fprintf(&s.out, "  drift    %+.2f ppm (±%.2f) over %.1f days; this board's firmware cannot trim it\n", d.PPM, d.Uncertain, r.At.Sub(st.ClockSet).Hours()/24)
		return nil
	}
	if err != nil {
		return err
	}
	fmt.Fprintf(&s.out, "  drift    %+.2f ppm (±%.2f) over %.1f days: %+.0f s a year; ageing offset %d\n",
		d.PPM, d.Uncertain, r.At.Sub(st.ClockSet).Hours()/24, d.PPM*yearSeconds/1e6, present)
	value, ok := d.Trim(present)
	switch {
	case !ok:
		return nil
	case !trim:
		fmt.Fprintf(&s.out, "  trim     an ageing offset of %d would cancel that at 25 °C: mealtab clock --trim --set\n", value)
		return nil
	}
	if err := s.SetAgeing(value); err != nil {
		return err
	}
	fmt.Fprintf(&s.out, "  trim     ageing offset now %d\n", value)
	return nil
}

var yearSeconds = (365*24*time.Hour + 6*time.Hour).Seconds()
