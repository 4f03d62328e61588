package page

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha512"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// browser is a real Chromium that is let in to a page. Its console must stay empty: a blocked style, a broken script or a file that
// is not there fails the test.
type browser struct {
	*site
	ctx      context.Context
	pictures string
	tabs     bool // there are several: the one that is used comes to the front
	gone     bool // the program is to be lost, which the console may say
}

// chromium finds the browser; the check script installs it.
func chromium(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	t.Fatal("the page is tested in a real browser: install Chromium (apt-get install chromium)")
	return ""
}

func newBrowser(t *testing.T, text string) *browser {
	t.Helper()
	s := newSite(t, text)
	o := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(chromium(t)), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.UserDataDir(profileDir(t)),
		chromedp.WindowSize(1280, 900), chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true), chromedp.WSURLReadTimeout(longest))
	allocator, stop := chromedp.NewExecAllocator(t.Context(), o...)
	t.Cleanup(stop)
	ctx, _ := chromedp.NewContext(allocator, chromedp.WithErrorf(func(string, ...any) {}))
	t.Cleanup(func() { _ = chromedp.Cancel(ctx) }) // waits until the browser is gone
	b := &browser{site: s, ctx: ctx, pictures: t.ArtifactDir()}
	b.listen()
	b.run(chromedp.Navigate(s.server.Link(s.http.Listener.Addr().String())), chromedp.WaitVisible("#week-h"))
	return b
}

// tab is another tab of the same browser.
func (b *browser) tab() *browser {
	b.t.Helper()
	ctx, _ := chromedp.NewContext(b.ctx)
	b.tabs = true
	other := &browser{site: b.site, ctx: ctx, pictures: b.pictures, tabs: true}
	other.run() // opens it
	other.listen()
	return other
}

// listen fails the test at whatever the browser's console says.
func (b *browser) listen() {
	t := b.t
	chromedp.ListenTarget(b.ctx, func(e any) {
		switch e := e.(type) {
		case *log.EventEntryAdded:
			if !strings.Contains(e.Entry.URL, "/api/") && !b.gone { // a refused change is answered with 422, which the browser logs
				t.Errorf("the console says: %s %s", e.Entry.Text, e.Entry.URL)
			}
		case *runtime.EventExceptionThrown:
			t.Errorf("a script failed: %s", e.ExceptionDetails.Error())
		}
	})
}

// profileDir is removed at the end as far as the browser's last processes let it.
func profileDir(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "mealtab-browser-")
	require.NoError(t, err)
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	return dir
}

func (b *browser) run(actions ...chromedp.Action) {
	b.t.Helper()
	if b.tabs {
		actions = append([]chromedp.Action{page.BringToFront()}, actions...)
	}
	require.NoError(b.t, chromedp.Run(b.ctx, actions...))
}

func (b *browser) open(path string) { b.t.Helper(); b.run(chromedp.Navigate(b.url + path)) }

// value evaluates an expression.
func (b *browser) value(js string) (v string) {
	b.t.Helper()
	b.run(chromedp.Evaluate(`String(`+js+`)`, &v))
	return v
}

// longest is how long a page may take, on a busy machine and under the race detector too; only a test that fails waits as long.
const longest = 10 * time.Minute

// until waits for an expression to be true; while a page is being loaded it has no value.
func (b *browser) until(js string) {
	b.t.Helper()
	ok := assert.Eventually(b.t, func() bool {
		var is bool
		err := chromedp.Run(b.ctx, chromedp.Evaluate(`Boolean(`+js+`)`, &is))
		return err == nil && is
	}, longest, 50*time.Millisecond, "%s", js)
	if !ok {
		b.t.Logf("the page shows: %s", b.value(`document.querySelector('main').innerText`))
		b.picture("failed")
		b.t.FailNow()
	}
}

// picture keeps what the browser shows, among the artifacts of the test.
func (b *browser) picture(name string) {
	b.t.Helper()
	var png []byte
	b.run(chromedp.CaptureScreenshot(&png))
	require.NoError(b.t, os.WriteFile(filepath.Join(b.pictures, name+".png"), png, 0o644))
}

// id is a selector for an id with dots in it.
func id(s string) string { return `[id="` + s + `"]` }

// typed puts a text in the place of a field's, key by key.
func (b *browser) typed(field, text string) {
	b.t.Helper()
	b.run(chromedp.Focus(id(field)), chromedp.Evaluate(fmt.Sprintf(`document.getElementById(%q).select()`, field), nil), chromedp.KeyEvent(kb.Delete), chromedp.KeyEvent(text))
}

// An owner opens the page, changes a portion, sees the picture change, makes a mistake and sees it at its field, undoes it and
// saves; the file has the one change.
func TestBrowserChange(t *testing.T) {
	t.Parallel()
	b := newBrowser(t, cats)
	b.picture("see")
	b.open("/change")
	b.until(`revision > 0`)
	week := b.value(`document.getElementById('week').textContent`)
	require.Contains(t, week, "18 g")
	b.typed("meal.0.portion", "30 g")
	b.until(`document.getElementById('week').textContent.includes('breakfast 30 g')`)
	b.picture("changed")
	b.typed("meal.0.name", "brunch")
	b.until(`document.querySelector('[data-name]').textContent === 'brunch'`)

	b.run(chromedp.Evaluate(`document.querySelector('[data-typed]').open = true`, nil))
	b.typed("meal.0.rrule", "FREQ=WEEKLY;BYDAY=MO,XX")
	b.until(`document.getElementById('meal.0.rrule-issues').textContent.includes('XX')`)
	assert.Equal(t, "true", b.value(`document.getElementById('meal.0.rrule').getAttribute('aria-invalid')`))
	assert.Contains(t, b.value(`document.getElementById('week').textContent`), "brunch 30 g", "the picture stays that of the plan before")
	b.picture("wrong-rule")

	b.typed("meal.0.rrule", "FREQ=WEEKLY;BYDAY=TU,SA")
	b.until(`document.querySelector('[data-meal="0"] [data-words]').textContent.startsWith('every Tuesday and Saturday')`)
	assert.Equal(t, "1,5", b.value(`chosen(document.querySelector('[data-meal="0"]')).days.join()`), "what is typed is shown as chosen")
	b.run(chromedp.Click(`[data-meal="0"] [data-choice="days"][value="6"]`))
	b.until(`document.getElementById('meal.0.rrule').value === 'FREQ=WEEKLY;BYDAY=TU,SA,SU'`)

	b.run(chromedp.Click("#undo"))
	b.until(`document.getElementById('meal.0.rrule').value === 'FREQ=WEEKLY;BYDAY=TU,SA'`)
	b.run(chromedp.Click("#save"))
	b.until(`document.getElementById('message').textContent.startsWith('Saved')`)
	got, err := os.ReadFile(b.file)
	require.NoError(t, err)
	want := strings.NewReplacer(`"18 g"`, `"30 g"`, `"breakfast"`, `"brunch"`, "BYDAY=MO,TU,WE,TH,FR", "BYDAY=TU,SA").Replace(cats)
	assert.Equal(t, want, string(got))

	b.run(chromedp.Click(`[data-action="add"]`))
	b.until(`document.querySelectorAll('[data-meal]').length === 3`)
	b.picture("added")
}

// The same with the keyboard alone: every control can be reached and used.
func TestBrowserKeyboard(t *testing.T) {
	t.Parallel()
	b := newBrowser(t, cats)
	b.open("/change")
	b.until(`revision > 0`)
	seen := map[string]bool{}
	for range 90 {
		b.run(chromedp.KeyEvent(kb.Tab))
		seen[b.value(`(() => { const e = document.activeElement; return e.id || e.dataset.choice || e.dataset.action || e.textContent })()`)] = true
	}
	for _, want := range []string{"Change", "save", "meal.0.name", "meal.0.portion", "meal.0.times", "meal.0.kind", "days", "copy", "remove", "meal.1.portion", "add"} {
		if want == "save" {
			continue // nothing to save yet: it is off
		}
		assert.True(t, seen[want], "the keyboard does not reach %q: %v", want, seen)
	}
	b.run(chromedp.Focus(id("meal.1.portion")), chromedp.KeyEvent(kb.End), chromedp.KeyEvent(kb.Backspace), chromedp.KeyEvent("kg"))
	b.until(`document.getElementById('meal.1.portion').value === '24 kg'`)
	b.run(chromedp.Focus(`[data-meal="0"] [data-choice="days"][value="5"]`), chromedp.KeyEvent(" "))
	b.until(`document.getElementById('meal.0.rrule').value.endsWith('FR,SA')`)
	b.until(`!document.getElementById('save').disabled`)
	b.run(chromedp.KeyEvent("s", chromedp.KeyModifiers(2))) // Ctrl+S
	b.until(`document.getElementById('message').textContent.startsWith('Saved')`)
}

// The plan goes onto the emulated feeder, which then tells its next servings; a day later its journal has them.
func TestBrowserSendAndTry(t *testing.T) {
	t.Parallel()
	b := newBrowser(t, cats)
	b.open("/send")
	b.run(chromedp.Click(`[data-board="emulated"]`), chromedp.WaitVisible("#panel"))
	b.until(`document.getElementById('facts').textContent.includes('none: it serves nothing')`)
	b.until(`!document.getElementById('upload').disabled`)
	assert.Contains(t, b.value(`document.getElementById('changes').textContent`), "breakfast: new, 18 g, every weekday at 07:00")
	assert.Contains(t, b.value(`document.getElementById('after').textContent`), "Thu 2026-12-03 18:30")
	b.run(chromedp.Click("#upload"), chromedp.WaitVisible("#question"))
	b.picture("asked")
	b.run(chromedp.Click("#no"), chromedp.WaitNotVisible("#question"), chromedp.Click("#upload"), chromedp.WaitVisible("#question"), chromedp.Click("#yes"))
	b.until(`document.getElementById('message').textContent.startsWith('The plan is on the feeder, read back and in force.')`)
	b.until(`document.getElementById('next').textContent.includes('Thu 3 Dec 2026 18:30 supper')`)
	b.until(`document.getElementById('steps').textContent.split('done').length - 1 === 6`)
	b.picture("sent")

	b.open("/try")
	b.run(chromedp.WaitVisible("#panel"), chromedp.Click(`[data-jump="day"]`))
	b.until(`document.getElementById('journal').textContent.includes('2026-12-04 07:00 served, 3')`)
	b.picture("tried")
	b.run(chromedp.Click(`[data-do="feed"]`))
	b.until(`document.getElementById('journal').textContent.includes('served by hand, 1')`)
	b.run(chromedp.Click("#power"))
	b.until(`document.getElementById('supply').textContent === 'none'`)
	b.run(chromedp.Click("#power"))
	b.until(`document.getElementById('supply').textContent.startsWith('5')`)
	b.run(chromedp.Click(`[data-jump="night"]`))
	b.until(`document.getElementById('clocktime').textContent.startsWith('00:30') && document.getElementById('day').textContent === 'Sunday 28 March 2027'`)
	b.run(chromedp.Focus("#speed"), chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent(kb.ArrowRight))
	b.until(`document.getElementById('clocktime').textContent.includes('WEST')`)

	b.open("/send")
	b.run(chromedp.Click(`[data-board="emulated"]`), chromedp.WaitVisible("#panel"))
	b.until(`document.getElementById('journal').textContent.includes('2027')`)
	b.until(`document.getElementById('changes').textContent.includes('holds this plan')`)
}

// A calendar is taken over by the file button, which does what dropping a file does.
func TestBrowserImport(t *testing.T) {
	t.Parallel()
	b := newBrowser(t, cats)
	_, ics := b.get("/export.ics")
	file := filepath.Join(t.TempDir(), "family.ics")
	require.NoError(t, os.WriteFile(file, []byte(strings.ReplaceAll(ics, "supper", "dinner")), 0o644))
	b.open("/change")
	b.until(`revision > 0`)
	b.run(chromedp.SetUploadFiles("#import", []string{file}))
	b.until(`[...document.querySelectorAll('[data-name]')].map(e => e.textContent).join() === 'breakfast,dinner'`)
	assert.Contains(t, b.value(`document.getElementById('source').value`), "# weighed")
	b.run(chromedp.Click("#undo"))
	b.until(`[...document.querySelectorAll('[data-name]')].map(e => e.textContent).join() === 'breakfast,supper'`)
}

// What is painted first needs no script: each view shows its content with scripts off, so that nothing that a script waits for is waited for.
// How long it takes is said in the log: the aim is 200 ms on an idle machine.
func TestBrowserFirstPaint(t *testing.T) {
	t.Parallel()
	b := newBrowser(t, cats)
	b.run(emulation.SetScriptExecutionDisabled(true))
	for path, shows := range map[string]string{"/": "breakfast", "/change": "breakfast", "/try": "Start", "/send": "feeder"} {
		b.open(path)
		b.until(`performance.getEntriesByName('first-contentful-paint').length > 0`)
		assert.Contains(t, b.value(`document.querySelector('main').innerText`), shows, path)
		t.Logf("%s: first contentful paint after %s ms", path, b.value(`Math.round(performance.getEntriesByName('first-contentful-paint')[0].startTime)`))
	}
}

// axe-core, whose rules are those of WCAG, finds nothing: in each view, light and dark, wide, on a phone, and at 200 %.
func TestBrowserAccessibility(t *testing.T) {
	t.Parallel()
	axe := axeCore(t)
	b := newBrowser(t, cats)
	for _, size := range []struct {
		name string
		w, h int64
		dark string
	}{{"wide", 1280, 900, "light"}, {"dark", 1280, 900, "dark"}, {"phone", 360, 740, "light"}, {"200-percent", 640, 450, "dark"}} {
		b.run(chromedp.EmulateViewport(size.w, size.h), emulation.SetEmulatedMedia().WithFeatures([]*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: size.dark}}))
		for view, prepare := range map[string]func(){
			"/":       func() {},
			"/change": b.showFault,
			"/try": func() {
				b.run(chromedp.Click("#start button"), chromedp.WaitVisible("#panel"))
			},
			"/send": func() {
				b.run(chromedp.WaitVisible(`[data-board]`), chromedp.Click(`[data-board="emulated"]`), chromedp.WaitVisible("#panel"))
			},
		} {
			b.open(view)
			prepare()
			b.picture("view" + strings.ReplaceAll(view, "/", "-") + "-" + size.name)
			b.judge(axe, view+" "+size.name)
			b.change("text", struct{ Text, Group string }{cats, ""})
			assert.Equal(t, "true", b.value(`document.documentElement.scrollWidth <= innerWidth`), "%s %s scrolls sideways", view, size.name)
		}
	}
}

// The judge itself is tried on a page with two faults.
func TestBrowserAxeFindsFaults(t *testing.T) {
	t.Parallel()
	axe := axeCore(t)
	b := newBrowser(t, cats)
	b.run(chromedp.Evaluate(`document.querySelector('main').append(new Image()); document.getElementById('title').style.color = '#ccc'; document.getElementById('title').style.background = '#ddd'`, nil))
	var ids []string
	for _, v := range b.violations(axe) {
		ids = append(ids, v.ID)
	}
	assert.ElementsMatch(t, []string{"image-alt", "color-contrast"}, ids)
}

// showFault makes a mistake, so that messages are judged too, and opens all that can be opened.
func (b *browser) showFault() {
	b.until(`revision > 0`)
	b.run(chromedp.Evaluate(`for (const d of document.querySelectorAll('details')) d.open = true`, nil))
	b.typed("meal.0.portion", "1 stone")
	b.until(`document.getElementById('meal.0.portion-issues').textContent !== ''`)
	b.run(chromedp.Evaluate(`document.activeElement.blur()`, nil))
	b.typed("meal.0.portion", "18 g")
	b.until(`document.getElementById('meal.0.portion-issues').textContent === ''`)
	b.typed("meal.0.times", "7 o'clock")
	b.until(`document.getElementById('meal.0.times-issues').textContent !== ''`)
}

// judge wants axe to find nothing.
func (b *browser) judge(axe, what string) {
	b.t.Helper()
	for _, v := range b.violations(axe) {
		b.t.Errorf("%s: %s: %s\n  %s", what, v.ID, v.Help, strings.Join(v.Nodes[:min(len(v.Nodes), 4)], "\n  "))
	}
}

type violation struct {
	ID, Help string
	Nodes    []string
}

// violations runs axe in the page.
func (b *browser) violations(axe string) (list []violation) {
	b.t.Helper()
	var found string
	b.run(chromedp.Evaluate(axe, nil), chromedp.Evaluate(`axe.run({resultTypes: ['violations']}).then(r => JSON.stringify(r.violations.map(v => ({id: v.id, help: v.help, nodes: v.nodes.map(n => n.html.slice(0, 160) + ' ' + (n.any[0] || n.all[0] || n.none[0] || {}).message)}))))`,
		&found, func(p *runtime.EvaluateParams) *runtime.EvaluateParams { return p.WithAwaitPromise(true) }))
	require.NoError(b.t, json.Unmarshal([]byte(found), &list))
	return list
}

// axe-core as the registry has it, and the digest that the registry gives for it.
const (
	axeName   = "axe-core@4.14.1"
	axeDigest = "FHfa+lmNjQZfJz1q8wKqIDwC6DExcHt/pkjNQb09a3NPjCKg2rhu5qb2S4r76ASyFNNtuFooJpZe37OgudVGtQ=="
)

// fetching is held while the script is fetched: tests run side by side.
var fetching sync.Mutex

// axeCore is the script. It is not part of this project: npm fetches it once into the user's cache, and what comes is compared with
// the digest.
func axeCore(t *testing.T) string {
	t.Helper()
	fetching.Lock()
	defer fetching.Unlock()
	cache, err := os.UserCacheDir()
	require.NoError(t, err)
	dir := filepath.Join(cache, "mealtab-test")
	file := filepath.Join(dir, strings.ReplaceAll(axeName, "@", "-")+".tgz")
	if data, err := os.ReadFile(file); err == nil && digest(data) == axeDigest {
		return script(t, data)
	}
	require.NoError(t, os.MkdirAll(dir, 0o755))
	c := exec.Command("npm", "pack", axeName, "--silent", "--pack-destination", dir)
	out, err := c.CombinedOutput()
	require.NoError(t, err, "npm fetches axe-core, which judges whether everybody can use the page (apt-get install npm): %s", out)
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, axeDigest, digest(data), "axe-core is not what it was")
	return script(t, data)
}

func digest(b []byte) string {
	sum := sha512.Sum512(b)
	return base64.StdEncoding.EncodeToString(sum[:])
}

// script takes axe.min.js out of the package.
func script(t *testing.T, pack []byte) string {
	t.Helper()
	z, err := gzip.NewReader(bytes.NewReader(pack))
	require.NoError(t, err)
	for r := tar.NewReader(z); ; {
		h, err := r.Next()
		require.NoError(t, err, "the package has no axe.min.js")
		if h.Name == "package/axe.min.js" {
			data, err := io.ReadAll(r)
			require.NoError(t, err)
			return string(data)
		}
	}
}
