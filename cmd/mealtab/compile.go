package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"mealtab/cmd/mealtab/internal/remarks"
	"mealtab/cmd/mealtab/internal/tablefile"
	"mealtab/compiler"
	"mealtab/compiler/ihex"
	"mealtab/compiler/plan"
	"mealtab/compiler/units"
)

type compileFlags struct {
	compileOptions
	output, format string
	strict, force  bool
	rehearse       bool
}

func (a *app) compileCommand() *cobra.Command {
	var f compileFlags
	cmd := &cobra.Command{
		Use:   "compile PLAN",
		Short: "Turn a plan into a table, and prove that it feeds the plan",
		Long: `Turn a plan into the alarm table of a board and write it to a file.

Every compile ends with a proof: the bytes are decoded and replayed through 2099-12-31, and
every serving (instant, meal, portion) is compared with what the plan's rules say by a second,
independent reading of RFC 5545. If a single one differs, nothing is written.

The table begins at --from, or on 1 January of the year of the time zone data, or with the first
meal if that is later. The same plan and the same data always give the same bytes.`,
		Example: `  mealtab compile plan.toml                      writes plan.table
  mealtab compile plan.toml --format hex         writes plan.hex, for a device programmer
  mealtab compile family.ics -o feeder.table     a calendar's events as meals
  mealtab compile plan.toml --board m168-mains   for a board with a smaller bank
  mealtab compile - -o - <plan.toml >plan.table  as a filter`,
		Args: one("PLAN"),
		RunE: func(_ *cobra.Command, args []string) error { return a.runCompile(args[0], f) },
	}
	flags := cmd.Flags()
	flags.SortFlags = false
	flags.StringVarP(&f.output, "output", "o", "", "`FILE` to write (default: the plan's name with .table or .hex, in this directory)")
	flags.StringVar(&f.format, "format", "", "`FORMAT`: bin, the bytes of the table; hex, Intel HEX of the EEPROM with the table in bank 0 (default: hex if the output ends in .hex or .eep, else bin)")
	flags.StringVar(&f.from, "from", "", "first `DATE` that the table must serve (default: 1 January of the data's year)")
	flags.StringVar(&f.board, "board", "", "board profile: a `NAME`, or the path of a TOML file (default: the plan's)")
	flags.BoolVar(&f.strict, "strict", false, "let warnings fail: nothing is written")
	flags.BoolVar(&f.rehearse, "rehearse", false, "run the board's firmware with the table for ten years first; nothing is written unless it serves the same")
	flags.BoolVar(&f.force, "force", false, "write over a file that is neither a table nor Intel HEX")
	return cmd
}

func (a *app) runCompile(name string, f compileFlags) error {
	if err := f.complete(name); err != nil {
		return err
	}
	if err := a.mayReplace(f.output, kindTable, f.force, name); err != nil {
		return err
	}
	l, err := a.readPlan(name)
	if err != nil {
		return err
	}
	c, err := a.compile(l, f.compileOptions)
	var tooBig *compiler.FitError
	if errors.As(err, &tooBig) {
		return fmt.Errorf("%w\nnothing was written", err)
	}
	if err != nil {
		return err
	}
	ds, show := a.warnings(c), a.remind
	if f.strict {
		show = a.reportAll
	}
	if err := show(ds); err != nil {
		return err
	}
	if f.strict && len(ds) > 0 {
		return fmt.Errorf("%s, and --strict lets none pass; nothing was written", units.Count(len(ds), "warning"))
	}
	return a.writeTable(c, name, f)
}

// writeTable writes what has been proved, and rehearsed if that is wished.
func (a *app) writeTable(c *compiled, name string, f compileFlags) error {
	data, err := encode(c.Bytes, f.format)
	if err != nil {
		return err
	}
	report := *a
	if f.output == "-" {
		report.out = a.err // standard output is the table's
	}
	if f.rehearse {
		if err := report.rehearse(c.Bytes, c, rehearseFlags{years: 10}); err != nil {
			return fmt.Errorf("%w\nnothing was written", err)
		}
	}
	if err := a.write(f.output, data); err != nil {
		return err
	}
	return c.summary(report.out, name, f.output)
}

// complete fills in what was not given.
func (f *compileFlags) complete(name string) error {
	ext := strings.ToLower(filepath.Ext(f.output))
	if f.format == "" {
		f.format = "bin"
		if ext == ".hex" || ext == ".eep" {
			f.format = "hex"
		}
	}
	if f.format != "bin" && f.format != "hex" {
		return usagef("--format %s does not exist: bin or hex", f.format)
	}
	if f.output != "" {
		return nil
	}
	if name == "-" {
		return usagef("the plan comes from standard input: say with -o where to write the table (-o - is standard output)")
	}
	base := filepath.Base(name)
	f.output = strings.TrimSuffix(base, filepath.Ext(base)) + map[string]string{"bin": ".table", "hex": ".hex"}[f.format]
	return nil
}

func encode(tab []byte, format string) ([]byte, error) {
	if format == "bin" {
		return tab, nil
	}
	var b bytes.Buffer
	err := ihex.Write(&b, 0, tablefile.Image(tab))
	return b.Bytes(), err
}

// warnings are all there are about a compiled plan, in the order of the plan's lines.
func (a *app) warnings(c *compiled) plan.Diagnostics {
	end := a.waiting("looking for what is probably not meant")
	ds := append(c.diagnostics, remarks.About(a.reviewInput(c), c.Output)...)
	end()
	return ds.Sort()
}

// summary says what was made and what was proved.
func (c *compiled) summary(w io.Writer, name, output string) error {
	if output == "-" {
		output = "standard output"
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s -> %s: %d bytes for %s\n", name, output, len(c.Bytes), c.board.Name)
	fmt.Fprintf(&b, "  proved         %s servings: each is the plan's, and there are no others\n", units.Thousands(c.Proof.Instants))
	fmt.Fprintf(&b, "  valid          from %s through %s\n", c.Proof.From, c.Proof.Through)
	fmt.Fprintf(&b, "  bank           %d of %d bytes used\n", len(c.Bytes), c.Capacity)
	fmt.Fprintf(&b, "  zone           %s, %s\n", c.plan.Zone, remarks.Data(c.db))
	if len(c.Explicit) > 0 {
		fmt.Fprintf(&b, "  single dates   %s: the rule has no shorter form\n", strings.Join(c.Explicit, ", "))
	}
	_, err := io.WriteString(w, b.String())
	return err
}
