package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"golang.org/x/term"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/compiler/plan"
	"mealtab/compiler/zone"
	"mealtab/flasher/link"
	"mealtab/flasher/ports"
)

// Exit codes.
const (
	exitGood   = 0
	exitFailed = 1
	exitUsage  = 2
)

// app is what all commands share.
type app struct {
	in       io.Reader
	out, err io.Writer
	zoneDir  string // --zoneinfo
	nowText  string // --now
	now      time.Time
	ports    func() ([]ports.Port, error)          // of this computer
	openPort func(string, int) (*link.Link, error) // by name, at a rate
	running  bool                                  // flags and arguments were right: what goes wrong from here on is no wrong usage
}

func newApp(in io.Reader, out, err io.Writer) *app {
	return &app{in: in, out: out, err: err, now: time.Now(), ports: listPorts, openPort: ports.Open}
}

// errReported ends a command whose reason has been printed.
var errReported = errors.New("reported")

// usageError is wrong usage that only the command itself can see.
type usageError struct{ message string }

func (e usageError) Error() string { return e.message }

func usagef(format string, args ...any) error { return usageError{fmt.Sprintf(format, args...)} }

// The library keeps these for the whole process, and several apps may run beside each other in a test.
func init() {
	cobra.EnableCommandSorting = false // the help follows the path of a plan
	cobra.AddTemplateFunc("flagHelp", flagHelp)
	cobra.AddTemplateFunc("flow", flow)
	cobra.AddTemplateFunc("versionText", versionText)
}

func (a *app) execute(args []string) int {
	root := a.rootCommand()
	root.SetArgs(args)
	cmd, err := root.ExecuteC()
	var usage usageError
	switch {
	case err == nil:
		return exitGood
	case errors.Is(err, errReported):
		return exitFailed
	case a.running && !errors.As(err, &usage):
		fmt.Fprintf(a.err, "%s: %v\n", cmd.CommandPath(), err)
		return exitFailed
	}
	fmt.Fprintf(a.err, "%s: %v\nTry: %s --help\n", cmd.CommandPath(), err, cmd.CommandPath())
	return exitUsage
}

func (a *app) rootCommand() *cobra.Command {
	root := &cobra.Command{
		Use:   "mealtab COMMAND",
		Short: "Meal plans for home-built pet feeders, compiled and proved",
		Long: `mealtab turns a household's meal plan into the small alarm table of a home-built feeder.
It proves that the table feeds exactly what the plan says, every serving through 2099,
and shows when the feeder will feed.

A plan is a TOML file or an iCalendar file (.ics); "-" reads it from standard input.

Exit code 0: good; 1: the plan or a check failed; 2: wrong usage.`,
		Example: `  mealtab demo                              the whole job on a built-in plan
  mealtab check plan.toml                   is the plan right, and what will it do?
  mealtab compile plan.toml -o plan.table   make the table, and prove it
  mealtab replay plan.table                 when will the feeder feed?`,
		SilenceErrors: true, SilenceUsage: true,
		PersistentPreRunE: func(cmd *cobra.Command, _ []string) error { return a.begin(cmd) },
	}
	root.SetIn(a.in)
	root.SetOut(a.out)
	root.SetErr(a.err)
	root.CompletionOptions.HiddenDefaultCmd = true
	root.Version = "-" // the template says it, and only when asked: reading zone data takes time
	root.SetVersionTemplate("{{versionText}}")
	tidy(root)
	root.PersistentFlags().StringVar(&a.zoneDir, "zoneinfo", "", "time zone data to use: a `DIR` laid out as /usr/share/zoneinfo is (default: the newer of the system's and the program's own)")
	root.PersistentFlags().StringVar(&a.nowText, "now", "", "take `T` for the present time, to try things out (default: the computer's clock)")
	group(root, "A plan and its table:", a.checkCommand(), a.compileCommand(), a.listingCommand(), a.replayCommand(), a.ruleCommand(), a.compareCommand(), a.demoCommand(), a.pageCommand())
	group(root, "Only this once:", a.skipCommand(), a.moveCommand(), a.extraCommand())
	group(root, "Food:", a.rationCommand(), a.calibrateCommand(), a.hopperCommand(), a.chartCommand(), a.sheetCommand())
	group(root, "The feeder, emulated:", a.rehearseCommand(), a.emulateCommand(), a.boardCommand(), a.batteryCommand())
	group(root, "The feeder on your desk:", a.portsCommand(), a.selftestCommand(), a.uploadCommand(), a.statusCommand(), a.journalCommand(), a.fedCommand(), a.reportCommand(), a.clockCommand(), a.serveCommand(), a.presetCommand(), a.pullCommand(), a.installCommand())
	root.AddCommand(a.manCommand())
	return root
}

// group adds commands under a heading of the help.
func group(root *cobra.Command, title string, commands ...*cobra.Command) {
	root.AddGroup(&cobra.Group{ID: title, Title: title})
	for _, c := range commands {
		c.GroupID = title
	}
	root.AddCommand(commands...)
}

// begin runs when flags and arguments have been accepted.
func (a *app) begin(cmd *cobra.Command) error {
	if err := checkPorts(cmd.Flags().Lookup("port")); err != nil {
		return err
	}
	if a.nowText != "" {
		m, err := moment.Parse(a.nowText, zone.UTC(), a.now)
		if err != nil {
			return usagef("--now: %v", err)
		}
		a.now = m.At.Time()
	}
	a.running = true
	return nil
}

// checkPorts refuses names that can be no port's, before anything is read or computed.
func checkPorts(flag *pflag.Flag) error {
	if flag == nil || !flag.Changed {
		return nil
	}
	names := []string{flag.Value.String()}
	switch list := flag.Value.(type) {
	case pflag.SliceValue:
		names = list.GetSlice()
	default:
		if list.Type() != "string" { // the page's is a number, and listened on
			return nil
		}
	}
	for _, name := range names {
		if err := ports.CheckName(name); err != nil {
			return usagef("--port: %v", err)
		}
	}
	return nil
}

// one wants exactly one argument and says which.
func one(what string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		switch len(args) {
		case 0:
			return fmt.Errorf("%s is missing", what)
		case 1:
			return nil
		}
		return fmt.Errorf("one %s is wanted, there are %d arguments", what, len(args))
	}
}

// none wants no arguments.
func none(_ *cobra.Command, args []string) error {
	if len(args) > 0 {
		return fmt.Errorf("no arguments are wanted, there is %q", args[0])
	}
	return nil
}

// colored reports whether to write colours: only on a terminal, never where NO_COLOR is set (no-color.org) or the terminal
// says that it cannot.
func colored(w io.Writer) bool {
	return os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb" && isTerminal(w)
}

func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// report prints diagnostics on standard error.
func (a *app) report(ds plan.Diagnostics) error { return plan.Render(a.err, ds, colored(a.err)) }
