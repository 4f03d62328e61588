package page

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"
)

// shownCards is what a tab shows, read from its fields and nothing else.
const shownCards = `JSON.stringify({source: byId('source').value, message: byId('message').textContent, cards: [...document.querySelectorAll('[data-meal]')].map((c) => {
  const id = c.dataset.meal, v = (f) => byId('meal.' + id + '.' + f).value;
  return {id: Number(id), name: v('name'), portion: v('portion'), times: v('times'), rule: v('rrule'),
    kind: v('kind'), days: [...c.querySelectorAll('[data-choice="days"]:checked')].map((e) => Number(e.value))};
})})`

type look struct {
	Source, Message string
	Cards           []struct {
		ID                               int
		Name, Portion, Times, Rule, Kind string
		Days                             []int
	}
}

func (b *browser) look() (l look) {
	b.t.Helper()
	require.NoError(b.t, json.Unmarshal([]byte(b.value(shownCards)), &l))
	return l
}

// deed is something that a monkey does with the mouse or the keys, and what it does to the model. It does not wait for the answer.
type deed struct {
	what string
	do   func(b *browser)
	then func()
}

// draw is something at random that can be done with what the tab shows.
func (l look) draw(r *rand.Rand, m *model) deed {
	place := func(id int) int {
		for i, have := range m.ids {
			if have == id {
				return i
			}
		}
		return -1
	}
	press := func(selector string) func(b *browser) { // as a mouse does, which takes the cursor along
		return func(b *browser) {
			b.run(chromedp.Evaluate(fmt.Sprintf(`document.activeElement.blur(); document.querySelector(%[1]q).focus(); document.querySelector(%[1]q).click()`, selector), nil))
		}
	}
	if len(l.Cards) == 0 || len(l.Cards) < 6 && r.IntN(12) == 0 {
		return deed{"add a meal", press(`[data-action="add"]`), m.add}
	}
	card := pick(r, l.Cards...)
	typing := func(field, text, key, value string) deed {
		return deed{fmt.Sprintf("type %q into %s of meal %d", text, field, card.ID), func(b *browser) {
			b.run(chromedp.Evaluate(fmt.Sprintf(`document.activeElement.blur(); byId(%[1]q).focus(); byId(%[1]q).select()`, mealField(card.ID, field)), nil), chromedp.KeyEvent(text))
		}, func() { m.put(place(card.ID), key, value) }}
	}
	switch r.IntN(12) {
	case 0:
		return deed{"undo", press("#undo"), func() { m.travel(&m.undo, &m.redo) }}
	case 1:
		return deed{"redo", press("#redo"), func() { m.travel(&m.redo, &m.undo) }}
	case 2, 3:
		return deed{"save by Ctrl+S", func(b *browser) { b.run(chromedp.KeyEvent("s", chromedp.KeyModifiers(2))) }, func() { m.file = m.text }}
	case 4:
		return deed{fmt.Sprintf("remove meal %d", card.ID), press(fmt.Sprintf(`[data-meal="%d"] [data-action="remove"]`, card.ID)), func() { m.remove(place(card.ID)) }}
	case 5:
		if len(l.Cards) < 6 {
			return deed{fmt.Sprintf("copy meal %d", card.ID), press(fmt.Sprintf(`[data-meal="%d"] [data-action="copy"]`, card.ID)), func() { m.copy(place(card.ID)) }}
		}
	case 6, 7:
		v := fmt.Sprintf("%s %d", pick(r, "tea", "snack", "x=y"), 10+r.IntN(90))
		if v != card.Name {
			return typing("name", v, "name", `"`+v+`"`)
		}
	case 8:
		h := fmt.Sprintf("%02d:%02d", r.IntN(24), 1+r.IntN(59))
		if h != card.Times {
			return typing("times", h+kb.Tab, "at", `["`+h+`"]`)
		}
	case 9, 10:
		if card.Kind == kindWeekly {
			day := r.IntN(7)
			return deed{fmt.Sprintf("tick or untick day %d of meal %d", day, card.ID), press(fmt.Sprintf(`[data-meal="%d"] [data-choice="days"][value="%d"]`, card.ID, day)), func() { m.toggle(place(card.ID), day) }}
		}
	}
	v := fmt.Sprintf("%d g", 10+r.IntN(80))
	for v == card.Portion {
		v = fmt.Sprintf("%d g", 10+r.IntN(80))
	}
	return typing("portion", v, "portion", `"`+v+`"`)
}

// A monkey clicks and types in two tabs of a browser, mostly without waiting for an answer. What the page shows then is what the program holds
// and, once saved, the file; every byte that was not meant stays.
func TestBrowserMonkey(t *testing.T) {
	t.Parallel()
	r := dice(t)
	many := steps(t, 60, "PAGE_TAB_STEPS")
	first := newBrowser(t, zoo).changing(false)
	tabs := []*browser{first, first.tab().changing(false)}
	m := newModel()
	counts := map[string]int{}
	var last []string
	for n := 0; n < many; {
		b := pick(r, tabs...)
		stale := b.value(`revision`) != fmt.Sprint(b.revision()) // typing may be more than one change: only the program counts them
		before := b.look()
		deeds := []deed{before.draw(r, m)}
		// A second one at once, on another meal or on the whole; on a card that the first one takes away nothing can be done any more.
		if !stale && r.IntN(2) == 0 && !strings.Contains(deeds[0].what, "do") {
			if second := before.draw(r, m); second.what != deeds[0].what && (!strings.HasPrefix(deeds[0].what, "remove") || second.what == "undo" || strings.HasPrefix(second.what, "save")) {
				deeds = append(deeds, second)
			}
		}
		asked := false
		for _, d := range deeds {
			n++
			last = append(last, fmt.Sprintf("%d: %s (stale: %v)", n, d.what, stale))
			counts[strings.SplitN(d.what, " ", 2)[0]]++
			asked = true // a button that is off asks for nothing
			if button := strings.SplitN(d.what, " ", 2)[0]; button == "undo" || button == "redo" || button == "save" {
				asked = b.value(`byId('`+button+`').disabled`) == "false"
			}
			d.do(b)
			if !stale && asked {
				d.then()
			}
		}
		b.settled()
		if stale {
			counts["stale"]++
		}
		story := strings.Join(last[max(0, len(last)-8):], "\n")
		// The cursor leaves the field: what the program made of what was typed is shown.
		b.run(chromedp.Evaluate(`document.activeElement.blur()`, nil))
		got := b.look()
		if stale && asked {
			require.Contains(t, got.Message, "changed in another tab", story)
		} else if stale {
			b.run(chromedp.Evaluate(`renew()`, nil))
			b.until(fmt.Sprintf(`revision === %d`, b.revision()))
			got = b.look()
		}
		require.Equal(t, m.text, got.Source, story)
		require.Len(t, got.Cards, len(m.ids), story)
		for i, c := range got.Cards {
			require.Equal(t, m.ids[i], c.ID, story)
			require.Equal(t, m.value(i, "name"), c.Name, story)
			require.Equal(t, m.value(i, "portion"), c.Portion, story)
			require.Equal(t, m.value(i, "at"), c.Times, story)
			require.Equal(t, m.value(i, "rrule"), c.Rule, story)
			if m.weekly(i) {
				require.Equal(t, kindWeekly, c.Kind, story)
				require.ElementsMatch(t, m.days(i), c.Days, story)
			}
		}
		require.Equal(t, m.file, b.saved(), story)
	}
	t.Logf("made: %v", counts)
}
