package bench

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"mealtab/compiler/profile"
)

// questions are all that a walk asks, with their answers.
var questions = map[string][]string{
	"alive":         {Yes, No},
	"blinks":        {Yes, No},
	"blinks-turned": {Yes, No},
	"turn-light":    {Done, No},
	"memory-ready":  {Yes, No},
	"buttons-ready": {Yes, No},
	"beam-ready":    {Yes, No},
	"wheel-ready":   {Yes, No},
	"creeps":        {none, forward, backward},
	"went-back":     {backward, forward, none},
	"went-forward":  {forward, backward, none},
	"meter-ready":   {Yes, No},
	"plug-volts":    {Yes, No},
	"twitched":      {Yes, No},
	"count-ready":   {Yes, No},
	"turned":        nil, // a number
	"coin-cell":     {Done, No},
}

// Questions are all that a walk asks, by their keys, with their answers; none: a number.
func Questions() map[string][]string { return maps.Clone(questions) }

// CheckAnswer says what is wrong with a prepared answer.
func CheckAnswer(key, answer string) error {
	answers, ok := questions[key]
	switch {
	case !ok:
		return fmt.Errorf("no question is called %q; there are %s", key, strings.Join(slices.Sorted(maps.Keys(questions)), ", "))
	case answers == nil:
		_, err := strconv.ParseFloat(answer, 64)
		return err
	case !slices.Contains(answers, answer):
		return fmt.Errorf("%s=%s: its answers are %s", key, answer, strings.Join(answers, ", "))
	}
	return nil
}

// ask puts a question by its key.
func (w *walk) ask(key, text string) string {
	return w.Person.Ask(Question{key, pins(w.built()).Replace(text), questions[key]})
}

// do asks for something to be done at once.
func (w *walk) do(key, text string) { w.Person.Do(key, pins(w.built()).Replace(text)) }

// lookTime is how long a person reads before there is something to see.
const lookTime = 2 * time.Second

// show says what is to be seen, and lets it be read.
func (w *walk) show(key, text string) {
	w.do(key, fmt.Sprintf("%s It begins in %d seconds.", text, int(lookTime.Seconds())))
	w.Link.Transport().Sleep(lookTime)
}

// built is the board as it is described: by its firmware, before that is known by what its builder says.
func (w *walk) built() *profile.Profile {
	if w.profile != nil {
		return w.profile
	}
	if p, err := profile.Load(w.Board); err == nil {
		return p
	}
	p, _ := profile.Named(profile.Default)
	return p
}
