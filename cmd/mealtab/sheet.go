package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"mealtab/compiler/advice"
	"mealtab/compiler/report/sheet"
)

type sheetFlags struct {
	output, board           string
	from, to, preset, paper string // of the sitter's
	force                   bool
}

func (a *app) sheetCommand() *cobra.Command {
	var f sheetFlags
	long := "Draw a sheet to print:\n\n"
	names := sheetNames()
	for _, s := range sheet.Sheets() {
		long += fmt.Sprintf("  %-12s %s\n", s.Name, s.About)
	}
	long += fmt.Sprintf("  %-12s %s\n", sitterName, sitterAbout)
	cmd := &cobra.Command{
		Use:   "sheet NAME [PLAN]",
		Short: "Draw a sheet to print: " + strings.Join(names, ", "),
		Long:  long + "\nAn SVG prints in its own size, A4, from any browser; a PNG has 192 pixels to the inch. The sitter's is of the\n--paper asked for, black on white; what does not fit goes into FILE-2, and is said. As HTML it prints from a browser.",
		Example: `  mealtab sheet calibration plan.toml -o calibration.svg
  mealtab sheet sitter plan.toml --from 2026-12-12 --to 2026-12-27 -o fridge.html
  mealtab sheet buttons -o card.svg
  mealtab sheet label plan.toml -o label.png
  mealtab sheet wiring --board m328-cells -o wires.svg`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) < 1 || len(args) > 2 {
				return fmt.Errorf("the NAME of a sheet is wanted, and perhaps a PLAN: the sheets are %s", strings.Join(names, ", "))
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			if args[0] == sitterName {
				return a.runSitter(strings.Join(args[1:], ""), f)
			}
			if f.from != "" || f.to != "" || f.preset != "" || f.paper != "" {
				return usagef("--from, --to, --preset and --paper are of the sheet %s", sitterName)
			}
			return a.runSheet(args[0], strings.Join(args[1:], ""), f)
		},
	}
	cmd.Flags().StringVarP(&f.output, "output", "o", "", "`FILE` to write, ending in .svg or .png, of the sitter's also .html; - writes SVG to standard output")
	cmd.Flags().StringVar(&f.board, "board", "", "board profile: a `NAME`, or the path of a TOML file (default: the plan's)")
	cmd.Flags().StringVar(&f.from, "from", "", "of the sitter's: first `DATE` (default: today)")
	cmd.Flags().StringVar(&f.to, "to", "", "of the sitter's: last `DATE` (default: two weeks)")
	cmd.Flags().StringVar(&f.preset, "preset", "", "of the sitter's: preset in force, its `NAME` or number (default: the first)")
	cmd.Flags().StringVar(&f.paper, "paper", "", "of the sitter's: a4 or letter (default: a4)")
	cmd.Flags().BoolVar(&f.force, "force", false, "write over a file that is not such a picture")
	return cmd
}

// sheetScale gives 192 pixels to the inch.
const sheetScale = 2

func sheetNames() (names []string) {
	for _, s := range sheet.Sheets() {
		names = append(names, s.Name)
	}
	return append(names, sitterName)
}

func (a *app) runSheet(name, file string, f sheetFlags) error {
	s, ok := sheet.Named(name)
	if !ok {
		return usagef("there is no sheet %q; %s", name, advice.DidYouMean(name, sheetNames(), nil))
	}
	if s.Plan && file == "" {
		return usagef("the sheet %s is about a PLAN: name its file", name)
	}
	k, err := pictureKind(f.output)
	if err != nil {
		return err
	}
	if err := a.mayReplace(f.output, k, f.force, file); err != nil {
		return err
	}
	in, err := a.sheetInput(file, f.board)
	if err != nil {
		return err
	}
	pic, err := s.Draw(in)
	if err != nil {
		return err
	}
	if err := a.writePicture(f.output, pic, sheetScale, false); err != nil {
		return err
	}
	if f.output != "-" {
		fmt.Fprintf(a.out, "%s: %s\n", f.output, pic.Title)
	}
	return nil
}

// sheetInput is the plan, if there is one, with its board, the one asked for, or the first.
func (a *app) sheetInput(file, board string) (in sheet.Input, err error) {
	if file == "" {
		in.Board, err = askedBoard(board)
		return in, err
	}
	l, err := a.readPlan(file)
	if err != nil {
		return in, err
	}
	in.Plan = l.plan
	in.Board, err = a.profile(l.plan, board)
	return in, err
}
