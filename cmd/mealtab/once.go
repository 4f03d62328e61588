package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"mealtab/cmd/mealtab/internal/moment"
)

// onceFlags are those of the commands that change a plan for one time.
type onceFlags struct {
	meal           string
	dryRun, send   bool
	upload         uploadFlags
	until, portion string // skip; move
	undo           bool
	presets        []string // extra
}

func (f *onceFlags) register(flags *pflag.FlagSet) {
	flags.StringVar(&f.meal, "meal", "", "`NAME` of the meal meant, where several are served then")
	flags.BoolVarP(&f.dryRun, "dry-run", "n", false, "say what would change and write nothing")
	flags.BoolVar(&f.send, "upload", false, "then put the plan on the feeder, as mealtab upload does")
	f.upload.portFlags.register(flags)
	flags.BoolVarP(&f.upload.yes, "yes", "y", false, "with --upload: do not ask")
}

func (a *app) skipCommand() *cobra.Command {
	var f onceFlags
	cmd := &cobra.Command{
		Use:   "skip PLAN WHEN",
		Short: "Leave servings out once: tomorrow morning, a weekend",
		Long: `Write into a plan that some servings are left out this once, and say which. WHEN is a time at which
something is served, or a day: then all its servings that are still to come; --until goes on to a time of
that day, or through a later day. The plan's own text stays as it is but for those dates.

Nothing is written before it is proved that nothing else changes, to the end of 2099, and that the
feeder's table holds it. --undo serves again what was left out.

An animal that misses a meal is still there in the morning: see that somebody feeds it, or that it was
meant. An animal with diabetes or another illness misses none without its veterinarian's word.`,
		Example: `  mealtab skip plan.toml tomorrow --until 12:00     not tomorrow morning
  mealtab skip plan.toml friday --until sunday      three days away, somebody feeds by hand
  mealtab skip plan.toml "tomorrow 18:30" --upload  and put it on the feeder
  mealtab skip plan.toml tomorrow --undo            as before`,
		Args: wants("PLAN", "WHEN"),
		RunE: func(_ *cobra.Command, args []string) error {
			return a.changeOnce(args[0], &f, func(w *wish) error { return w.skip(args[1]) })
		},
	}
	f.register(cmd.Flags())
	cmd.Flags().StringVar(&f.until, "until", "", "leave out all before `T`: a time of the same day (12:00), a day (through its end), or "+moment.Forms)
	cmd.Flags().BoolVar(&f.undo, "undo", false, "serve again what is left out then")
	return cmd
}

func (a *app) moveCommand() *cobra.Command {
	var f onceFlags
	cmd := &cobra.Command{
		Use:   "move PLAN WHEN TO",
		Short: "Serve once at another time, or once another portion",
		Long: `Write into a plan that one serving is given at another time this once, or with --portion that it is
another portion. WHEN is the time of the serving, or its day where the meal is served once on it; TO is a
time of the same day (20:00), or of another. The plan's own text stays as it is but for those dates.

Nothing is written before it is proved that nothing else changes, to the end of 2099.`,
		Example: `  mealtab move plan.toml "tomorrow 18:30" 20:00
  mealtab move plan.toml "sat 07:00" "sat 09:30" --meal breakfast
  mealtab move plan.toml "tomorrow 18:30" 18:30 --portion "10 g"`,
		Args: wants("PLAN", "WHEN", "TO"),
		RunE: func(_ *cobra.Command, args []string) error {
			return a.changeOnce(args[0], &f, func(w *wish) error { return w.move(args[1], args[2]) })
		},
	}
	f.register(cmd.Flags())
	cmd.Flags().StringVar(&f.portion, "portion", "", "another `PORTION` this once, as a plan writes it: \"10 g\" or \"2 pockets\"")
	return cmd
}

func (a *app) extraCommand() *cobra.Command {
	var f onceFlags
	cmd := &cobra.Command{
		Use:   "extra PLAN WHEN [PORTION]",
		Short: "Serve something more, once",
		Long: `Write into a plan that something is served once more: a PORTION, or with --meal a meal of the plan with
its own portion. Portions of the same size go into one meal of single dates, which is made for the first.

Nothing is written before it is proved that nothing else changes, to the end of 2099. mealtab skip takes
an extra serving back.`,
		Example: `  mealtab extra plan.toml "tomorrow 15:00" "10 g"
  mealtab extra plan.toml 2026-12-25T10:00 --meal breakfast`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) < 2 || len(args) > 3 {
				return errors.New("PLAN and WHEN are wanted, and a PORTION or --meal NAME")
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			return a.changeOnce(args[0], &f, func(w *wish) error { return w.extra(args[1], strings.Join(args[2:], "")) })
		},
	}
	f.register(cmd.Flags())
	cmd.Flags().StringSliceVar(&f.presets, "preset", nil, "serve it only with the preset `NAME`; may be repeated (default: with all)")
	return cmd
}

// wants wants so many arguments and says which are missing.
func wants(names ...string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		switch {
		case len(args) < len(names):
			return fmt.Errorf("%s is missing", names[len(args)])
		case len(args) > len(names):
			return fmt.Errorf("%s are wanted, there are %d arguments; a time with a blank in it stands in quotation marks: \"tomorrow 18:30\"", strings.Join(names, ", "), len(args))
		}
		return nil
	}
}
