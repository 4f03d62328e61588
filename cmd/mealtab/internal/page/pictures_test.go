package page

import (
	"flag"
	"path/filepath"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "draw the pictures in testdata/pictures anew")

// The README shows two pictures of the page: a meal with a fault at its field, and the night on which the clocks change. What they are to show is
// in sight there; with -update they are drawn anew.
func TestBrowserPictures(t *testing.T) {
	t.Parallel()
	b := newBrowser(t, cats)
	if *update {
		b.pictures = filepath.Join("..", "..", "..", "..", "testdata", "pictures")
	}
	b.run(chromedp.EmulateViewport(1000, 700), emulation.SetEmulatedMedia().WithFeatures([]*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: "light"}}))
	inSight := func(id string) {
		require.Equal(t, "true", b.value(`(() => { const r = document.getElementById('`+id+`').getBoundingClientRect(); return r.height > 0 && r.top >= 0 && r.bottom <= innerHeight && r.right <= innerWidth; })()`), id)
	}

	b.open("/change")
	b.until(`revision > 0`)
	b.typed("meal.0.portion", "4 stone")
	b.until(`document.getElementById('meal.0.portion-issues').textContent !== ''`)
	b.run(chromedp.Evaluate(`document.activeElement.blur()`, nil))
	b.settled()
	for _, id := range []string{"meal.0.name", "meal.0.portion", "meal.0.portion-issues", "meal.0.times", "meal.0.kind"} {
		inSight(id)
	}
	b.picture("page-change")
	b.change("undo", struct{}{})

	b.open("/try")
	b.run(chromedp.Evaluate(`byId('date').value = '2027-03-27'; document.querySelector('#start button').click()`, nil), chromedp.WaitVisible("#panel"), chromedp.Click(`[data-jump="night"]`))
	b.until(`document.getElementById('clocktime').textContent.startsWith('00:30') && document.getElementById('day').textContent === 'Sunday 28 March 2027'`)
	b.run(chromedp.Evaluate(`scrollTo(0, 0)`, nil))
	require.NotContains(t, b.value(`document.querySelector('main').innerText`), "The hopper is empty")
	inSight("clocktime")
	inSight("day")
	b.picture("page-try")
}
