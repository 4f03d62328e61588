package main

import (
	"bytes"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"mealtab/compiler/units"
	"mealtab/emulator/avr"
	"mealtab/emulator/scenario"
)

type emulateFlags struct {
	scenarios     []string
	firmware      string
	log, csv, vcd string
	rows          int
	force         bool
}

func (a *app) emulateCommand() *cobra.Command {
	var f emulateFlags
	cmd := &cobra.Command{
		Use:   "emulate --scenario FILE",
		Short: "Play scenarios on the emulated feeder: power cuts, jams, dead clocks, clock changes",
		Long: `Run the feeder's firmware on an emulated board through a scenario: a plan, a start, events that
happen to the feeder, and what must then hold. Time jumps from event to event, so that weeks
pass in a moment.

An expectation that fails says what was expected, what happened and when, with the log around it.`,
		Example: `  mealtab emulate --scenario spring-night.toml
  mealtab emulate --scenario jam.toml --log -
  mealtab emulate --scenario jam.toml --vcd jam.vcd     for a wave viewer
  mealtab emulate --scenario a.toml --scenario b.toml`,
		Args: none,
		RunE: func(*cobra.Command, []string) error { return a.runEmulate(f) },
	}
	flags := cmd.Flags()
	flags.StringArrayVar(&f.scenarios, "scenario", nil, "scenario `FILE` (TOML); may be repeated")
	flags.StringVar(&f.firmware, "firmware", "", "`FILE` with the firmware, Intel HEX or ELF (default: the one made for the table's board)")
	flags.StringVar(&f.log, "log", "", "write what happens, in plain words, to `FILE`; - is standard output")
	flags.StringVar(&f.csv, "csv", "", "write every event as a row to `FILE`")
	flags.StringVar(&f.vcd, "vcd", "", "write the signals as a value change dump (IEEE 1364) to `FILE`")
	flags.IntVar(&f.rows, "rows", scenario.MostRows, "hold `N` events of each kind in --csv, N changes of each signal in --vcd; more are left out")
	flags.BoolVar(&f.force, "force", false, "write over files of other kinds")
	return cmd
}

func (a *app) runEmulate(f emulateFlags) error {
	if len(f.scenarios) == 0 {
		return usagef("no scenario is given: --scenario FILE")
	}
	if len(f.scenarios) > 1 && (f.log != "" || f.csv != "" || f.vcd != "") {
		return usagef("--log, --csv and --vcd go with one scenario")
	}
	if f.rows < 1 {
		return usagef("--rows %d: at least 1", f.rows)
	}
	if name, twice := f.clash(); twice {
		return usagef("--log, --csv and --vcd each want a file of their own: %s is named twice", name)
	}
	failed := 0
	for _, name := range f.scenarios {
		good, err := a.emulate(name, f)
		if err != nil {
			return err
		}
		if !good {
			failed++
		}
	}
	if failed > 0 {
		return fmt.Errorf("%s of %d failed", units.Count(failed, "scenario"), len(f.scenarios))
	}
	return nil
}

func (a *app) emulate(name string, f emulateFlags) (good bool, err error) {
	src, err := a.read(name)
	if err != nil {
		return false, err
	}
	s, err := scenario.Parse(name, src)
	if err != nil {
		return false, err
	}
	in := a.scenarioInputs(s, f.firmware)
	in.Rows = f.rows
	outputs := f.outputs(&in)
	for _, o := range outputs {
		if err := a.mayReplace(o.file, o.kind, f.force, name, f.firmware); err != nil {
			return false, err
		}
	}
	begun := time.Now()
	result, err := scenario.Run(s, in)
	if err != nil {
		return false, err
	}
	for _, o := range outputs {
		if err := a.write(o.file, o.data.Bytes()); err != nil {
			return false, err
		}
	}
	for _, said := range result.LeftOut {
		fmt.Fprintf(a.err, "%s; --rows N holds more\n", said)
	}
	return a.judge(s, result, time.Since(begun))
}

// scenarioOutput is a file that is written at the end of a scenario.
type scenarioOutput struct {
	file string
	kind kind
	data bytes.Buffer
}

// outputs are those that were asked for, connected to the scenario.
func (f *emulateFlags) outputs(in *scenario.Inputs) (list []*scenarioOutput) {
	for _, o := range []struct {
		file string
		kind kind
		to   *io.Writer
	}{{f.log, kindLog, &in.Log}, {f.csv, kindCSV, &in.CSV}, {f.vcd, kindVCD, &in.VCD}} {
		if o.file != "" {
			out := &scenarioOutput{file: o.file, kind: o.kind}
			*o.to = &out.data
			list = append(list, out)
		}
	}
	return list
}

// clash names two outputs that are one file.
func (f *emulateFlags) clash() (string, bool) {
	names := []string{f.log, f.csv, f.vcd}
	for i, name := range names {
		if name != "" && slices.ContainsFunc(names[i+1:], func(n string) bool { return n != "" && filepath.Clean(n) == filepath.Clean(name) }) {
			return name, true
		}
	}
	return "", false
}

func (a *app) judge(s *scenario.Script, r *scenario.Result, took time.Duration) (bool, error) {
	if len(r.Failures) == 0 {
		hold := "hold"
		if r.Checks == 1 {
			hold = "holds"
		}
		_, err := fmt.Fprintf(a.out, "%-60s %s %s, %d ms\n", s.Name, units.Count(r.Checks, "expectation"), hold, took.Milliseconds())
		return true, err
	}
	_, err := fmt.Fprintf(a.out, "%s: FAILED (%s)\n", s.Name, s.File)
	fmt.Fprint(a.out, r.Failed())
	return false, err
}

// scenarioInputs compiles the plans a scenario names: texts of several lines, or files beside it.
func (a *app) scenarioInputs(s *scenario.Script, firmware string) scenario.Inputs {
	return scenario.Inputs{
		Table: func(ref string) ([]byte, error) {
			if !strings.Contains(ref, "\n") {
				file := filepath.Join(filepath.Dir(s.File), filepath.FromSlash(ref))
				bytes, _, err := a.loadTable(file)
				return bytes, err
			}
			l, err := a.loadPlan(s.File+" (plan)", []byte(ref))
			if err != nil {
				return nil, err
			}
			c, err := a.compile(l, compileOptions{board: s.Board})
			if err != nil {
				return nil, err
			}
			return c.Bytes, nil
		},
		Firmware: func(board string) (*avr.Image, error) { return a.firmwareNamed(firmware, board) },
	}
}
