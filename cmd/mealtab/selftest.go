package main

import (
	"encoding/json"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"mealtab/compiler/food/calibrate"
	"mealtab/compiler/profile"
	"mealtab/compiler/prose"
	"mealtab/compiler/units"
	"mealtab/flasher"
	"mealtab/flasher/bench"
	"mealtab/flasher/link"
)

type selftestFlags struct {
	port, board, format, answers string
	write                        bool
}

func (a *app) selftestCommand() *cobra.Command {
	var f selftestFlags
	cmd := &cobra.Command{
		Use:   "selftest [PLAN]",
		Short: "Go through a board on the bench, and name the wire that is wrong",
		Long: `Go through a board on the bench, part by part: line, firmware, chip, clock and its interrupt wire, memory,
supply, light, buttons, light barrier, servo, index switch, coin cell. Each step is told beforehand. It asks
what the board cannot know itself: whether a light is seen, which way a wheel turned. At the end stands
what is right, what is wrong, what may cause it, the likeliest first, and what to do.

Take the food out of the hopper first. The wheel moves: keep fingers and paws off it. On a board that
holds a table the pockets that it may let fall count among those that are given by hand.

With PLAN and --write a trim at which the wheel stands still, or the time of a pocket that was found by
counting, is written into the [wheel] table of PLAN. Exit code 1: something is wrong.`,
		Example: `  mealtab selftest
  mealtab selftest --port /dev/ttyUSB0 --board m328-mains
  mealtab selftest plan.toml --write                      and write the trim or the time of a pocket
  mealtab selftest --answers "blinks=yes,creeps=no,coin-cell=no" --format json     nobody is asked`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 1 {
				return fmt.Errorf("one PLAN is wanted, there are %d arguments", len(args))
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error { return a.runSelftest(strings.Join(args, ""), f) },
	}
	flags := cmd.Flags()
	flags.SortFlags = false
	flags.StringVarP(&f.port, "port", "p", "", "serial `PORT` of the board, or tcp:HOST:PORT, or rfc2217:HOST:PORT (default: the only one with the USB bridge of a board)")
	flags.StringVar(&f.board, "board", "", "the board that is built: a `NAME`, or the path of a TOML file (default: what its firmware says)")
	flags.StringVar(&f.format, "format", "text", "text, json")
	flags.StringVar(&f.answers, "answers", "", "`LIST` of prepared answers, such as \"blinks=yes,creeps=no\": nobody is asked, and what is not among them is left out")
	flags.BoolVar(&f.write, "write", false, "write the trim or the time of a pocket that is found into PLAN")
	return cmd
}

func (a *app) runSelftest(name string, f selftestFlags) error {
	switch {
	case f.format != "text" && f.format != "json":
		return usagef("--format %s does not exist: text, json", f.format)
	case f.write && name == "":
		return usagef("--write needs the PLAN to write to")
	case f.write && (name == "-" || strings.EqualFold(filepath.Ext(name), ".ics")):
		return usagef("--write writes into a TOML file")
	}
	c := bench.Config{Board: f.board}
	_, err := profile.Load(f.board)
	if err != nil {
		return usagef("--board: %v", err)
	}
	if c.Person, err = a.person(f); err != nil {
		return err
	}
	plan := &calibration{name: name}
	if name != "" {
		if err := a.calibratedPlan(plan); err != nil {
			return err
		}
		c.Count, c.Trim = f.write, int(plan.Trim)
	}
	port, err := a.onlyPort(f.port)
	if err != nil {
		return err
	}
	if c.Link, err = a.openPort(port, flasher.DefaultBaud()); err != nil {
		return err
	}
	defer c.Link.Close()
	c.Reopen = func() (*link.Link, error) { return a.openPort(port, flasher.DefaultBaud()) }
	report, err := bench.Walk(c)
	if err != nil {
		return err
	}
	if err := a.showSelftest(report, f.format); err != nil {
		return err
	}
	if found := calibrated(report); f.write && len(found) > 0 {
		if err := a.writeWheel(name, plan.src, found); err != nil {
			return err
		}
	}
	if !report.Good() {
		return errReported
	}
	return nil
}

// calibrated is what a walk found for the [wheel] table of a plan.
func calibrated(r *bench.Report) (found []calibrate.Setting) {
	if r.Trim != nil {
		found = append(found, calibrate.Setting{Key: "trim", Value: fmt.Sprintf("%d us", *r.Trim)})
	}
	if r.TurnMillis != 0 {
		found = append(found, calibrate.Setting{Key: "turn", Value: fmt.Sprintf("%d ms", r.TurnMillis)})
	}
	return found
}

// person is who answers: the one at the keyboard, or prepared answers.
func (a *app) person(f selftestFlags) (bench.Person, error) {
	out := a.out
	if f.format == "json" {
		out = a.err // the report is the output
	}
	if f.answers == "" {
		return &builder{a.in, out}, nil
	}
	p := prepared{builder{nil, out}, map[string]string{}}
	for entry := range strings.SplitSeq(f.answers, ",") {
		key, value, ok := strings.Cut(strings.TrimSpace(entry), "=")
		if !ok {
			return nil, usagef("--answers %q: a list such as \"blinks=yes,creeps=no\" is wanted", f.answers)
		}
		if err := bench.CheckAnswer(key, value); err != nil {
			return nil, usagef("--answers: %v", err)
		}
		p.answers[key] = value
	}
	return p, nil
}

// builder is the person at the keyboard.
type builder struct {
	in  io.Reader
	out io.Writer
}

func (b *builder) Say(text string)   { io.WriteString(b.out, prose.Wrap("", text)) }
func (b *builder) Do(_, text string) { io.WriteString(b.out, prose.Wrap("* ", text)) }

// asked is how often a question is put that is not answered as it can be: a program that answers would go on for ever.
const asked = 5

// Ask takes an answer by its beginning; an empty line, the end of the input and five answers that are none mean that it cannot be told.
func (b *builder) Ask(q bench.Question) string {
	for range asked {
		fmt.Fprint(b.out, strings.TrimSuffix(prose.Wrap("? ", fmt.Sprintf("%s [%s; Enter: I cannot tell]", q.Text, choices(q))), "\n"), " ")
		text := strings.ToLower(strings.TrimSpace(readLine(b.in)))
		if !isTerminal(b.out) {
			fmt.Fprintln(b.out)
		}
		if text == "" {
			return ""
		}
		if len(q.Answers) == 0 {
			return text
		}
		for _, answer := range q.Answers {
			if strings.HasPrefix(answer, text) {
				return answer
			}
		}
		fmt.Fprintf(b.out, "%q is none of %s\n", text, strings.Join(q.Answers, ", "))
	}
	return ""
}

func choices(q bench.Question) string {
	if len(q.Answers) == 0 {
		return "a number"
	}
	return strings.Join(q.Answers, ", ")
}

// prepared answers what it was told beforehand.
type prepared struct {
	builder
	answers map[string]string
}

func (p prepared) Ask(q bench.Question) string {
	answer := p.answers[q.Key]
	if len(q.Answers) > 0 && !slices.Contains(q.Answers, answer) {
		return ""
	}
	return answer
}

func (p prepared) Say(text string)     { p.builder.Say(text) }
func (p prepared) Do(key, text string) { p.builder.Do(key, text) }

func (a *app) showSelftest(r *bench.Report, format string) error {
	if format == "json" {
		e := json.NewEncoder(a.out)
		e.SetEscapeHTML(false)
		e.SetIndent("", "  ")
		return e.Encode(r)
	}
	var b strings.Builder
	b.WriteByte('\n')
	for _, s := range r.Steps {
		b.WriteString(prose.Wrap(fmt.Sprintf("  %-9s %-22s ", s.Verdict, s.Name), s.Text))
	}
	b.WriteByte('\n')
	if r.Good() {
		b.WriteString("Nothing is wrong")
		if n := r.Count(bench.LeftOut); n > 0 {
			fmt.Fprintf(&b, " of what was tried; %s left out", units.Count(n, "step"))
		}
		b.WriteByte('\n')
	}
	for i, p := range r.Problems {
		var shown []string
		for _, s := range p.Shown {
			shown = append(shown, string(s))
		}
		b.WriteString(prose.Wrap(fmt.Sprintf("%d. ", i+1), "Wrong: "+strings.Join(shown, "; ")))
		for n, c := range p.Causes {
			head := "   perhaps: "
			if n == 0 {
				head = "   likeliest: "
				if len(p.Causes) == 1 {
					head = "   cause: "
				}
			}
			b.WriteString(prose.Wrap(head, c.Name+" – "+c.Do))
		}
		if len(p.Causes) == 0 {
			b.WriteString("   no cause is known: ask for help, with mealtab report\n")
		}
	}
	if r.Trim != nil {
		fmt.Fprintf(&b, "The wheel stands still with a trim of %d us\n", *r.Trim)
	}
	_, err := io.WriteString(a.out, b.String())
	return err
}
