package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"mealtab/emulator/board"
)

// liveCommand is one thing that hands can do to an emulated board.
type liveCommand struct {
	usage, what string
	// do does it and says how things stand then; "": the board's own events say it.
	do func(l *live, args []string) (string, error)
}

// simply is a command without arguments.
func simply(do func(l *live), said string) func(*live, []string) (string, error) {
	return func(l *live, args []string) (string, error) {
		if len(args) > 0 {
			return "", fmt.Errorf("it takes nothing after it")
		}
		do(l)
		return said, nil
	}
}

var liveCommands = map[string]liveCommand{
	"reset": {"reset", "resets the chip", simply(func(l *live) { l.b.Reset() }, "")},
	"off":   {"off", "takes the supply away", simply(func(l *live) { l.b.PowerOff() }, "the supply is off; on brings it back")},
	"on":    {"on", "brings the supply back", simply(func(l *live) { l.b.PowerOn() }, "")},
	"press": {"press feed|portion|plan [TIME]", "presses a button, for 200ms or so long", livePress},
	"jam":   {"jam", "lets kibble block the wheel, until it turns back a little", simply(func(l *live) { l.b.Jam(0, true) }, "kibble blocks the wheel; it comes free when the wheel turns back, or with unjam")},
	"unjam": {"unjam", "frees the wheel", simply(func(l *live) { l.b.Unjam() }, "the wheel is free")},
	"cut":   {"cut", "cuts the wire by which the clock chip wakes the feeder", simply(func(l *live) { l.b.CutInt(true) }, "the clock's wire is cut: meals come late, at the next look at the clock; mend mends it")},
	"mend":  {"mend", "mends the wire of the clock chip", simply(func(l *live) { l.b.CutInt(false) }, "the clock's wire is whole")},
	"silence": {"silence", "lets the clock chip answer no more",
		simply(func(l *live) { l.b.Silence(true) }, "the clock chip does not answer; answer lets it")},
	"answer": {"answer", "lets the clock chip answer again", simply(func(l *live) { l.b.Silence(false) }, "the clock chip answers")},
	"supply": {"supply VOLTS", "sets the supply's voltage", liveSupply},
	"speed":  {"speed N", "emulates N seconds in a second", liveSpeed},
	"quit":   {"quit", "ends the program", simply(func(l *live) { l.stopped = true }, "")},
}

// liveNames are the commands by name.
func liveNames() []string {
	names := []string{"help"}
	for name := range liveCommands {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

func liveCommandNames() string {
	var list []string
	for _, name := range liveNames() {
		usage := name
		if c, ok := liveCommands[name]; ok {
			usage = c.usage
		}
		list = append(list, usage)
	}
	return strings.Join(list, ", ")
}

// liveHelp has a line for each command.
func liveHelp() string {
	var b strings.Builder
	for _, name := range liveNames() {
		if c, ok := liveCommands[name]; ok {
			fmt.Fprintf(&b, "  %-31s %s\n", c.usage, c.what)
		}
	}
	return b.String()
}

// obey does what was typed, and answers.
func (l *live) obey(text string) {
	words := strings.Fields(text)
	if len(words) == 0 {
		return
	}
	if words[0] == "help" || words[0] == "?" {
		l.log.Print(liveHelp())
		return
	}
	c, ok := liveCommands[words[0]]
	if !ok {
		l.say(fmt.Sprintf("? %q is not a command; help lists them", words[0]))
		return
	}
	l.say("> " + text)
	said, err := c.do(l, words[1:])
	switch {
	case err != nil:
		l.say(fmt.Sprintf("? %v: %s", err, c.usage))
	case said != "":
		l.say(said)
	}
}

func (l *live) say(text string) { l.log.Say(l.b.Now(), text) }

func livePress(l *live, args []string) (string, error) {
	hold := 200 * time.Millisecond
	if len(args) == 2 {
		var err error
		if hold, err = time.ParseDuration(args[1]); err != nil || hold <= 0 {
			return "", fmt.Errorf("%q is not a time, such as 200ms", args[1])
		}
	}
	buttons := map[string]int{"feed": board.ButtonFeed, "portion": board.ButtonPortion, "plan": board.ButtonPreset}
	if len(args) == 0 || len(args) > 2 {
		return "", fmt.Errorf("a button is wanted")
	}
	n, ok := buttons[args[0]]
	if !ok {
		return "", fmt.Errorf("no button is called %q", args[0])
	}
	l.b.Press(n, hold)
	return "", nil
}

func liveSupply(l *live, args []string) (string, error) {
	v, err := oneNumber(args, 0, 6)
	if err != nil {
		return "", err
	}
	l.b.SetSource(uint16(v*1000), -1)
	return fmt.Sprintf("the supply gives %.2f V", v), nil
}

func liveSpeed(l *live, args []string) (string, error) {
	v, err := oneNumber(args, 0.001, 1e7)
	if err != nil {
		return "", err
	}
	l.setSpeed(v)
	return fmt.Sprintf("a second here is %g s there", v), nil
}

func oneNumber(args []string, least, most float64) (float64, error) {
	if len(args) == 1 {
		if v, err := strconv.ParseFloat(args[0], 64); err == nil && v >= least && v <= most {
			return v, nil
		}
	}
	return 0, fmt.Errorf("one number from %g to %g is wanted", least, most)
}
