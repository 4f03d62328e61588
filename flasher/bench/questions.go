package bench

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// questions are all that a walk asks, with their answers.
var questions = map[string][]string{
	"alive":         {Yes, No},
	"blinks":        {Yes, No},
	"blinks-turned": {Yes, No},
	"turn-light":    {Done, No},
	"buttons-ready": {Yes, No},
	"beam-ready":    {Yes, No},
	"wheel-ready":   {Yes, No},
	"creeps":        {none, forward, backward},
	"went-back":     {backward, forward, none},
	"went-forward":  {forward, backward, none},
	"plug-volts":    {Yes, No},
	"twitched":      {Yes, No},
	"coin-cell":     {Done, No},
}

// CheckAnswer says what is wrong with a prepared answer.
func CheckAnswer(key, answer string) error {
	answers, ok := questions[key]
	switch {
	case !ok:
		return fmt.Errorf("no question is called %q; there are %s", key, strings.Join(slices.Sorted(maps.Keys(questions)), ", "))
	case !slices.Contains(answers, answer):
		return fmt.Errorf("%s=%s: its answers are %s", key, answer, strings.Join(answers, ", "))
	}
	return nil
}

// ask puts a question by its key.
func (w *walk) ask(key, text string) string {
	return w.Person.Ask(Question{key, text, questions[key]})
}
