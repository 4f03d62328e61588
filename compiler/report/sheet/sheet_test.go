package sheet

import (
	"encoding/xml"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/plan"
	"mealtab/compiler/profile"
	"mealtab/compiler/reader"
	"mealtab/compiler/report/chart"
	"mealtab/compiler/table"
)

// texts are what a sheet says, in its order.
func texts(p *chart.Picture) (all []string) {
	for _, m := range p.Marks {
		if t, ok := m.(chart.Text); ok {
			all = append(all, t.S)
		}
	}
	return all
}

func draw(t *testing.T, name string, of *plan.Plan) *chart.Picture {
	t.Helper()
	s, ok := Named(name)
	require.True(t, ok, name)
	p, err := s.Draw(Input{of, mains(t)})
	require.NoError(t, err)
	return p
}

func mains(t *testing.T) *profile.Profile {
	t.Helper()
	b, err := profile.Load("m328-mains")
	require.NoError(t, err)
	return b
}

// Every sheet of every plan stays on its page, is XML, and is as large as ISO 216 says A4 is.
func TestSheetsOfPlans(t *testing.T) {
	files, err := filepath.Glob("../../../testdata/plans/*.toml")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		src, err := os.ReadFile(file)
		require.NoError(t, err)
		of, ds := reader.Parse(file, src)
		require.NotNil(t, of, ds)
		for _, s := range Sheets() {
			p := draw(t, s.Name, of)
			stays(t, p)
			svg := string(p.SVG())
			assert.Contains(t, svg, `width="210mm" height="297mm"`)
			assert.NotContains(t, svg, "prefers-color-scheme", "paper is never dark")
			d := xml.NewDecoder(strings.NewReader(svg))
			for err = nil; err == nil; {
				_, err = d.Token()
			}
			assert.Equal(t, io.EOF, err, "%s of %s", s.Name, file)
		}
	}
}

// stays requires that nothing is drawn beyond the margins.
func stays(t *testing.T, p *chart.Picture) {
	t.Helper()
	inside := func(x, y float64) {
		assert.True(t, x >= margin-1 && x <= width-margin+1 && y >= margin/2 && y <= height-margin/2, "%s: something is at %.0f, %.0f", p.Title, x, y)
	}
	for _, m := range p.Marks {
		switch m := m.(type) {
		case chart.Text:
			inside(m.X, m.Y)
			if m.Anchor == chart.Start {
				assert.LessOrEqual(t, len(chart.Lines(m.S, m.Size, width-margin-m.X)), 1, "%s: %q is too wide", p.Title, m.S)
			}
		case chart.Line:
			for _, pt := range m.Points {
				inside(pt.X, pt.Y)
			}
		case chart.Rect:
			inside(m.X, m.Y)
			inside(m.X+m.W, m.Y+m.H)
		case chart.Circle:
			inside(m.X-m.R, m.Y-m.R)
			inside(m.X+m.R, m.Y+m.R)
		}
	}
}

// The card has each fault with what to do, and draws as many flashes as the firmware gives.
func TestCardHasEveryFault(t *testing.T) {
	p := draw(t, "buttons", nil)
	said := strings.Join(texts(p), " ")
	flashes, long := 0, 0
	for i, f := range table.FaultBits() {
		assert.Contains(t, said, f.Meaning)
		assert.Contains(t, said, table.Remedy(i))
		short := i + 1
		if i >= table.ShortFlashes {
			short -= table.ShortFlashes
			long++
		}
		flashes += short
	}
	dots, bars := 0, 0
	for _, m := range p.Marks {
		switch m.(type) {
		case chart.Circle:
			dots++
		case chart.Rect:
			bars++
		}
	}
	assert.Equal(t, []int{flashes, long}, []int{dots, bars}, "dots and bars")
}

// A plan may have 63 meals with names of any length; what does not stand on the label is counted there.
func TestLabelOfMany(t *testing.T) {
	for _, n := range []int{1, mostMeals, mostMeals + 1, 63} {
		var b strings.Builder
		b.WriteString("zone = \"Europe/Lisbon\"\nplan = \"" + strings.Repeat("Juniper and Moss, ", 3) + "\"\n[wheel]\npocket = \"6 g\"\n")
		for i := range n {
			fmt.Fprintf(&b, "[[meal]]\nname = \"%s %d\"\nportion = \"6 g\"\nrrule = \"FREQ=WEEKLY;BYDAY=MO,WE,FR\"\nat = [\"%02d:%02d\"]\n", strings.Repeat("alongname", 4), i, i/3, i%3*20)
		}
		of, ds := reader.Parse("plan.toml", []byte(b.String()))
		require.NotNil(t, of, ds)
		p := draw(t, "label", of)
		stays(t, p)
		said := strings.Join(texts(p), " ")
		if n > mostMeals {
			assert.Contains(t, said, fmt.Sprintf("and %d more: see the plan", n-mostMeals))
		} else {
			assert.NotContains(t, said, "more: see the plan")
		}
	}
}

func TestLabelWantsAPlan(t *testing.T) {
	s, _ := Named("label")
	_, err := s.Draw(Input{Board: mains(t)})
	require.Error(t, err)
}

// The card of every board, one with all its pins moved too, has each wire with the pin that the board gives it, and two boxes for it.
func TestWiringOfBoards(t *testing.T) {
	names := append(profile.Names(), "../../../testdata/boards/moved.toml")
	for _, name := range names {
		b, err := profile.Load(name)
		require.NoError(t, err)
		s, _ := Named("wiring")
		p, err := s.Draw(Input{Board: b})
		require.NoError(t, err, name)
		stays(t, p)
		said := strings.Join(texts(p), " ")
		for _, w := range b.Wiring() {
			assert.True(t, strings.Contains(said, w.Pin), "%s: %s", name, w.Pin)
		}
		boxes := 0
		for _, m := range p.Marks {
			if l, ok := m.(chart.Line); ok && len(l.Points) == 5 {
				boxes++
			}
		}
		assert.Equal(t, 2*len(b.Wiring()), boxes)
	}
}
