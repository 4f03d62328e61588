package honest

import "slices"

// Exception is something that a board without a sensor cannot know. It excuses nothing but that it goes unseen.
type Exception struct {
	Name    string
	Why     string
	faults  []string
	applies func(c Case) bool
}

func noSensor(c Case) bool  { return !hasIndex(c.Image) && !hasBarrier(c.Image) }
func noBarrier(c Case) bool { return !hasBarrier(c.Image) }

// Exceptions lists what a board cannot know.
func Exceptions() []Exception {
	return []Exception{
		{"empty pockets", "without a light barrier nobody sees whether a pocket that turned was full",
			[]string{"bridge of 6 pockets", "hopper empty"}, noBarrier},
		{"wheel by time", "without a sensor the wheel is turned by time: one that stands or turns slower is not seen, unless the supply shows it",
			[]string{"solid jam", "kibble jams", "jam that frees itself", "wheel blocked", "wheel at 60 % load", "wheel 10 % slower", "no detents", "stop pulse 12 µs off", "wheel 3 % faster"}, noSensor},
		{"servo without power", "without a sensor a servo that has no power is not seen",
			[]string{"servo unplugged"}, noSensor},
	}
}

// excuse takes from what was broken what the board cannot know.
func excuse(c Case, broken []Violation) (rest []Violation, unknown []string) {
	for _, v := range broken {
		name := ""
		if v.Rule == RuleUnseen || v.Rule == RuleHungry || v.Rule == RuleForgotten { // forgotten: another fault happened to be shown
			for _, e := range Exceptions() {
				if e.applies(c) && slices.ContainsFunc(c.Faults, func(f string) bool { return slices.Contains(e.faults, f) }) {
					name = e.Name
				}
			}
		}
		if name == "" {
			rest = append(rest, v)
		} else if !slices.Contains(unknown, name) {
			unknown = append(unknown, name)
		}
	}
	return rest, unknown
}
