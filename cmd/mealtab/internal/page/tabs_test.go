package page

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"

	keys "github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// changing opens the view of changes. A tab that does not watch learns of others' changes only when it asks for its own, as one does in the
// two seconds between two looks.
func (b *browser) changing(watching bool) *browser {
	b.t.Helper()
	b.open("/change")
	b.until(`revision > 0`)
	b.run(chromedp.Evaluate(fmt.Sprintf(`watching = %v`, watching), nil))
	return b
}

// settled waits until every change has been answered.
func (b *browser) settled() {
	b.t.Helper()
	b.until(`!typed()`)
}

func (b *browser) message() string {
	b.t.Helper()
	return b.value(`document.getElementById('message').textContent`)
}

func (b *browser) saved() string {
	b.t.Helper()
	got, err := os.ReadFile(b.file)
	require.NoError(b.t, err)
	return string(got)
}

// One tab removes breakfast, the other still shows it: what is typed there changes nothing, least of all supper; it is told what has not been
// taken over, and shows the plan as it is.
func TestBrowserTwoTabs(t *testing.T) {
	t.Parallel()
	a := newBrowser(t, cats).changing(false)
	b := a.tab().changing(false)
	a.run(chromedp.Click(`[data-meal="0"] [data-action="remove"]`))
	a.until(`document.querySelectorAll('[data-meal]').length === 1`)
	b.run(chromedp.Evaluate(`byId('meal.0.name').focus(); byId('meal.0.name').select()`, nil), keys.InsertText("late breakfast"))
	b.until(`document.getElementById('message').textContent !== ''`)
	assert.Equal(t, "The plan has been changed in another tab meanwhile; this is how it is now. Not taken over: “late breakfast”.", b.message())
	b.run(chromedp.KeyEvent(" and more"))
	b.settled()
	assert.NotContains(t, b.value(`shown.source`), "and more", "the rest of the word goes nowhere")
	b.picture("stale")
	assert.Equal(t, "supper", b.value(`[...document.querySelectorAll('[data-name]')].map(e => e.textContent).join()`))
	assert.NotContains(t, b.value(`shown.source`), "late")

	// A unticks Monday, B on an old card unticks Friday: Monday does not come back.
	a.run(chromedp.Click("#undo"))
	a.until(`document.querySelectorAll('[data-meal]').length === 2`)
	b.run(chromedp.Evaluate(`renew()`, nil))
	b.until(`document.querySelectorAll('[data-meal]').length === 2`)
	a.run(chromedp.Click(`[data-meal="0"] [data-choice="days"][value="0"]`))
	a.settled()
	b.run(chromedp.Click(`[data-meal="0"] [data-choice="days"][value="4"]`))
	b.until(`document.getElementById('meal.0.rrule').value === 'FREQ=WEEKLY;BYDAY=TU,WE,TH,FR'`)
	assert.Contains(t, b.message(), "Not taken over: “how breakfast repeats”.")

	// Nor does B save or undo what it has not seen.
	a.typed("meal.1.portion", "30 g")
	a.settled()
	b.run(chromedp.KeyEvent("s", chromedp.KeyModifiers(2)))
	b.until(`document.getElementById('meal.1.portion').value === '30 g'`)
	assert.Equal(t, cats, b.saved())
}

// A tab that is looked at shows within a moment what another has changed, and that the program is gone.
func TestBrowserWatches(t *testing.T) {
	t.Parallel()
	b := newBrowser(t, cats).changing(true)
	b.run(chromedp.Focus(id("meal.1.portion")))
	b.change("edit", edited{"meal.1.portion", "12 g", ""})
	b.until(`document.getElementById('meal.1.portion').value === '12 g'`)
	b.gone = true
	b.http.Listener.Close()
	b.http.CloseClientConnections()
	b.until(`document.getElementById('summary').className === 'status bad'`)
	assert.Contains(t, b.value(`document.getElementById('summary').textContent`), "lost the program")
	assert.NotContains(t, b.value(`document.getElementById('summary').textContent`), "is right")
}

// Nothing overtakes what is typed: saving, undo, removing, leaving, loading anew, at once after the last key.
func TestBrowserFlushes(t *testing.T) {
	t.Parallel()
	b := newBrowser(t, cats).changing(false)
	b.typed("meal.0.portion", "30 g")
	b.run(chromedp.KeyEvent("s", chromedp.KeyModifiers(2)))
	b.until(`document.getElementById('message').textContent.startsWith('Saved')`)
	assert.Contains(t, b.saved(), `"30 g"`)

	b.typed("meal.0.portion", "36 g")
	b.run(chromedp.Evaluate(`document.getElementById('undo').click()`, nil))
	b.settled()
	b.until(`document.getElementById('meal.0.portion').value === '30 g'`)

	b.typed("meal.0.name", "gone")
	b.run(chromedp.Evaluate(`document.querySelector('[data-meal="0"] [data-action="remove"]').click()`, nil))
	b.settled()
	assert.Equal(t, "supper", b.value(`[...document.querySelectorAll('[data-name]')].map(e => e.textContent).join()`))
	b.run(chromedp.Evaluate(`act('undo')`, nil))
	b.settled()
	assert.Equal(t, "gone,supper", b.value(`[...document.querySelectorAll('[data-name]')].map(e => e.textContent).join()`))

	b.run(chromedp.Evaluate(`document.querySelector('[data-meal="0"] [data-action="remove"]').click()`, nil))
	b.typed("meal.1.name", "dinner")
	b.settled()
	assert.Equal(t, "dinner", b.value(`[...document.querySelectorAll('[data-name]')].map(e => e.textContent).join()`))

	b.typed("meal.1.portion", "42 g")
	b.run(chromedp.Evaluate(`document.querySelector('nav a[href="try"]').click()`, nil))
	b.run(chromedp.WaitVisible("#start"))
	b.changing(false)
	assert.Equal(t, "42 g", b.value(`document.getElementById('meal.1.portion').value`))

	b.typed("meal.1.portion", "48 g")
	b.run(chromedp.Evaluate(`location.reload()`, nil))
	b.until(`typeof revision === 'number' && revision > 0 && document.getElementById('meal.1.portion').value === '48 g'`)
}

// What is asked for right after a button was pressed is about what the button does: nothing is switched off until the answer is there. The keys
// come in the same breath as the click, so that no answer can stand between them.
func TestBrowserActsAtOnce(t *testing.T) {
	t.Parallel()
	b := newBrowser(t, cats).changing(false)
	ctrl := func(key string) string {
		return fmt.Sprintf(`document.body.dispatchEvent(new KeyboardEvent('keydown', {key: %q, ctrlKey: true, bubbles: true, cancelable: true}));`, key)
	}
	names := `[...document.querySelectorAll('[data-name]')].map(e => e.textContent).join()`
	for _, press := range []struct{ selector, names string }{
		{`[data-meal="0"] [data-action="copy"]`, "breakfast,supper,breakfast 2"},
		{`[data-meal="2"] [data-action="remove"]`, "breakfast,supper"},
		{`[data-action="add"]`, "breakfast,supper,meal 2"},
		{`#undo`, "breakfast,supper"},
		{`#redo`, "breakfast,supper,meal 2"},
		{`[data-meal="0"] [data-choice="days"][value="5"]`, "breakfast,supper,meal 2"},
	} {
		before := b.saved()
		b.run(chromedp.Evaluate(fmt.Sprintf(`document.querySelector(%q).click();`, press.selector)+ctrl("s"), nil))
		b.settled()
		require.Equal(t, press.names, b.value(names), press.selector)
		require.NotEqual(t, before, b.saved(), press.selector)
		require.Equal(t, b.value(`shown.source`), b.saved(), press.selector)
	}
	// Undo as well: of a change that has not been answered yet, the first of the page.
	c := newBrowser(t, cats).changing(false)
	c.run(chromedp.Evaluate(`document.querySelector('[data-meal="0"] [data-action="copy"]').click(); byId('undo').click();`, nil))
	c.settled()
	require.Equal(t, cats, c.value(`shown.source`))
	require.Equal(t, "false", c.value(`byId('redo').disabled`))
}

// Cards are changed in place: a meal that is added or removed leaves alone the field in which someone is typing.
func TestBrowserTypesThroughChanges(t *testing.T) {
	t.Parallel()
	b := newBrowser(t, cats).changing(false)
	b.run(chromedp.Evaluate(`document.querySelector('[data-action="add"]').click()`, nil), chromedp.Focus(id("meal.1.portion")),
		chromedp.Evaluate(`document.getElementById('meal.1.portion').select()`, nil), chromedp.KeyEvent("2"))
	b.until(`document.querySelectorAll('[data-meal]').length === 3`)
	b.run(chromedp.KeyEvent("7 pock"))
	b.settled()
	b.run(chromedp.KeyEvent("ets"))
	b.settled()
	assert.Equal(t, "27 pockets", b.value(`document.getElementById('meal.1.portion').value`))
	assert.Equal(t, "meal.1.portion", b.value(`document.activeElement.id`))
	assert.Contains(t, b.value(`shown.source`), `"27 pockets"`)
	b.run(chromedp.Focus(id("meal.2.portion")), chromedp.KeyEvent("6 g"), chromedp.Focus(id("meal.2.times")), chromedp.KeyEvent("9"+kb.Tab))
	b.settled()
	b.until(`document.getElementById('meal.2.times').value === '09:00'`)

	// A pause in the middle of a word changes nothing in the field.
	b.typed("meal.2.times", "10")
	b.settled()
	b.run(chromedp.KeyEvent(":16"))
	b.settled()
	assert.Equal(t, "10:16", b.value(`document.getElementById('meal.2.times').value`))
}

// No weekday ticked is an error at the weekdays; nothing is ticked in the owner's place.
func TestBrowserNoWeekday(t *testing.T) {
	t.Parallel()
	b := newBrowser(t, cats).changing(false)
	for day := range 5 {
		b.run(chromedp.Click(fmt.Sprintf(`[data-meal="0"] [data-choice="days"][value="%d"]`, day)))
		b.settled() // what an answer adds to the page moves the boxes: the driver would click where one was
	}
	assert.Equal(t, "", b.value(`chosen(cardOf(0)).days.join()`))
	assert.Equal(t, "weekly", b.value(`chosen(cardOf(0)).kind`))
	assert.Contains(t, b.value(`document.getElementById('meal.0.days-issues').textContent`), "no weekday is ticked")
	assert.Equal(t, "status bad", b.value(`document.getElementById('summary').className`))
	b.picture("no-weekday")
	b.run(chromedp.Click("#save"))
	b.until(`document.getElementById('message').textContent.startsWith('Saved, with 1 error')`)
	b.run(chromedp.Click(`[data-meal="0"] [data-choice="days"][value="5"]`))
	b.settled()
	assert.Equal(t, "status look", b.value(`document.getElementById('summary').className`), "the day left out was a Friday")
	assert.NotContains(t, b.value(`document.getElementById('summary').textContent`), "is right")
	assert.True(t, strings.Contains(b.value(`shown.source`), `"FREQ=WEEKLY;BYDAY=SA"`))
}

// The browser is started with a file that leads to the link: the cookie it gets there goes to this page and to no other port of this computer.
func TestBrowserOpensByFile(t *testing.T) {
	t.Setenv("XDG_CACHE_HOME", t.TempDir())
	b := newBrowser(t, cats)
	link := b.server.Link(b.http.Listener.Addr().String())
	file, err := OpeningFile(b.file, link)
	require.NoError(t, err)
	b.run(network.ClearBrowserCookies(), chromedp.Navigate("file://"+file))
	b.until(`document.getElementById('week-h') !== null`)
	assert.Equal(t, b.url+"/", b.value(`location.href`))

	seen := make(chan string, 1)
	other := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		select {
		case seen <- r.Header.Get("Cookie"):
		default:
		}
	}))
	defer other.Close()
	b.gone = true // it has no icon
	b.run(chromedp.Navigate(other.URL))
	assert.Empty(t, <-seen)
}
