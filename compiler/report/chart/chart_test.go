package chart

import (
	"bytes"
	"encoding/xml"
	"flag"
	"fmt"
	"image/color"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler"
	"mealtab/compiler/profile"
	"mealtab/compiler/reader"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

var update = flag.Bool("update", false, "rewrite the pictures in testdata/charts")

// compiled is a plan of testdata/plans at some time.
func compiled(t testing.TB, name, now string) Input {
	t.Helper()
	src, err := os.ReadFile(filepath.Join("..", "..", "..", "testdata", "plans", name+".toml"))
	require.NoError(t, err)
	return compile(t, string(src), now)
}

func compile(t testing.TB, src, now string) Input {
	t.Helper()
	p, ds := reader.Parse("plan.toml", []byte(src))
	require.False(t, ds.HasErrors(), "%v", ds)
	z, err := zone.Embedded().Load(p.Zone)
	require.NoError(t, err)
	name := p.Board
	if name == "" {
		name = profile.Default
	}
	board, err := profile.Load(name)
	require.NoError(t, err)
	from := table.Day((time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC).Unix() - table.Epoch) / 86400)
	out, err := compiler.Compile(p, z, compiler.Options{Board: board, From: from})
	require.NoError(t, err)
	at, err := time.Parse(time.RFC3339, now)
	require.NoError(t, err)
	return Input{Plan: p, Zone: z, Table: out.Table, MealOf: out.MealOf, Now: table.MinuteOf(at.Unix())}
}

// The pictures are read by people when they change: go test ./compiler/report/chart -update, then look at testdata/charts.
func TestGolden(t *testing.T) {
	for _, c := range []struct {
		plan, kind, now string
		width           int
	}{
		{"01-two-cats", "week", "2026-12-02T09:00:00Z", 760},
		{"01-two-cats", "hopper", "2026-12-02T09:00:00Z", 760},
		{"02-kitten-six-meals", "week", "2026-12-02T09:00:00Z", 360},
		{"22-nuuk-cells", "battery", "2026-12-02T09:00:00Z", 760},
		{"05-holidays", "year", "2026-11-25T12:00:00Z", 760},
		{"07-month-end", "year", "2026-12-01T00:00:00Z", 360},
		{"12-presets", "week", "2027-03-26T12:00:00Z", 760},
		{"17-lord-howe", "week", "2027-04-02T12:00:00Z", 760},
	} {
		name := fmt.Sprintf("%s-%s-%d.svg", c.plan, c.kind, c.width)
		t.Run(name, func(t *testing.T) {
			in := compiled(t, c.plan, c.now)
			preset := replay.AllPresets
			if in.Table.Presets > 0 {
				preset = 1
			}
			p, err := Draw(c.kind, in, Options{Width: c.width, Heading: true, Preset: preset})
			require.NoError(t, err)
			file := filepath.Join("..", "..", "..", "testdata", "charts", name)
			if *update {
				require.NoError(t, os.WriteFile(file, p.SVG(), 0o644))
			}
			want, err := os.ReadFile(file)
			require.NoError(t, err, "make it with -update")
			assert.Equal(t, string(want), string(p.SVG()), "if this is meant: go test ./compiler/report/chart -update")
			wellFormed(t, p.SVG())
			assert.NotEmpty(t, p.Desc)
			within(t, p)
		})
	}
}

// wellFormed reads a picture with an XML parser.
func wellFormed(t *testing.T, svg []byte) {
	t.Helper()
	for d := xml.NewDecoder(bytes.NewReader(svg)); ; {
		if _, err := d.Token(); err == io.EOF {
			return
		} else {
			require.NoError(t, err)
		}
	}
}

// within wants every mark inside the picture: what lies outside is not seen.
func within(t *testing.T, p *Picture) {
	t.Helper()
	in := func(what Mark, x, y float64) {
		assert.True(t, x >= -1 && x <= p.Width+1 && y >= -1 && y <= p.Height+1, "%T at %.1f, %.1f of %.0f × %.0f: %+v", what, x, y, p.Width, p.Height, what)
	}
	var check func(Mark)
	check = func(m Mark) {
		switch m := m.(type) {
		case Rect:
			in(m, m.X, m.Y)
			in(m, m.X+m.W, m.Y+m.H)
		case Rects:
			for _, r := range m.List {
				check(r)
			}
		case Circle:
			in(m, m.X-m.R, m.Y-m.R)
			in(m, m.X+m.R, m.Y+m.R)
		case Poly:
			for _, q := range m.Points {
				in(m, q.X, q.Y)
			}
		case Line:
			for _, q := range m.Points {
				in(m, q.X, q.Y)
			}
		case Group:
			for _, k := range m.Marks {
				check(k)
			}
		case Text:
			w := textWidth(m.S, m.Size)
			x := m.X - w*float64(m.Anchor)/2
			in(m, x, m.Y-m.Size)
			in(m, x+w, m.Y)
		}
	}
	for _, m := range p.Marks {
		check(m)
	}
}

// Every plan of the collection can be drawn, at every width, and nothing is drawn outside.
func TestEveryPlan(t *testing.T) {
	files, err := filepath.Glob("../../../testdata/plans/*.toml")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, f := range files {
		name := filepath.Base(f[:len(f)-len(".toml")])
		in := compiled(t, name, "2027-03-24T10:20:00Z")
		preset := replay.AllPresets
		if in.Table.Presets > 0 {
			preset = 0
		}
		for _, kind := range Kinds() {
			for _, width := range []int{300, 360, 760, 1400} {
				p, err := Draw(kind, in, Options{Width: width, Preset: preset, Heading: width != 360})
				if kind == "hopper" && err != nil {
					assert.Contains(t, err.Error(), "add [")
					continue
				}
				if kind == "battery" && err != nil {
					assert.Contains(t, err.Error(), "runs on a wall supply")
					continue
				}
				require.NoError(t, err, name)
				wellFormed(t, p.SVG())
				within(t, p)
			}
		}
	}
}

// A serving's mark has an area in proportion to its portion, whatever its shape.
func TestAreas(t *testing.T) {
	const r = 10.0
	for s := range Shape(shapeCount) {
		area := 0.0
		switch m := shape(s, 50, 50, r, Ink).(type) {
		case Circle:
			area = math.Pi * m.R * m.R
		case Rect:
			area = m.W * m.H
		case Poly: // the shoelace formula
			for i, p := range m.Points {
				q := m.Points[(i+1)%len(m.Points)]
				area += (p.X*q.Y - q.X*p.Y) / 2
			}
		}
		assert.InDelta(t, math.Pi*r*r, math.Abs(area), 0.01, "shape %d", s)
	}
}

// WCAG 2.2 wants 4.5:1 for text (1.4.3) and 3:1 for what must be seen (1.4.11), here against the ground and the bands.
func TestContrast(t *testing.T) {
	for p, pair := range shades {
		least := 3.0
		switch p {
		case Ink, Faint, Change: // texts
			least = 4.5
		case Paper, Band, Rule, White: // ground, and lines that only guide the eye
			continue
		}
		for shade, c := range pair {
			for _, ground := range []Paint{Paper, Band} {
				got := contrast(t, c, shades[ground][shade])
				assert.GreaterOrEqual(t, got, least, "%s %s on %s", p, c, ground)
			}
		}
	}
}

// contrast is WCAG 2.2's contrast ratio.
func contrast(t *testing.T, a, b string) float64 {
	la, lb := luminance(t, a), luminance(t, b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

func luminance(t *testing.T, c string) float64 {
	v, err := strconv.ParseUint(c[1:], 16, 32)
	require.NoError(t, err)
	sum := 0.0
	for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
		x := float64(v>>(16-8*i)&0xFF) / 255
		if x <= 0.04045 {
			x /= 12.92
		} else {
			x = math.Pow((x+0.055)/1.055, 2.4)
		}
		sum += weight * x
	}
	return sum
}

func TestPNG(t *testing.T) {
	in := compiled(t, "01-two-cats", "2026-12-02T09:00:00Z")
	p, err := Draw("week", in, Options{Width: 400, Preset: replay.AllPresets})
	require.NoError(t, err)
	for _, dark := range []bool{false, true} {
		data, err := p.PNG(2, dark)
		require.NoError(t, err)
		img, err := png.Decode(bytes.NewReader(data))
		require.NoError(t, err)
		assert.Equal(t, 800, img.Bounds().Dx())
		r, g, b, _ := img.At(1, 1).RGBA()
		assert.Equal(t, shades[Paper][map[bool]int{false: 0, true: 1}[dark]], fmt.Sprintf("#%02x%02x%02x", r>>8, g>>8, b>>8))
		assert.Greater(t, colours(img.At, 800, img.Bounds().Dy()), 20, "grid, texts and marks with soft edges")
	}
	_, err = p.PNG(9, false)
	assert.ErrorContains(t, err, "outside 0.5 to 4")
}

func TestMistakes(t *testing.T) {
	in := compiled(t, "10-seasons", "2026-12-02T09:00:00Z")
	for _, c := range []struct {
		kind  string
		width int
		want  string
	}{
		{"wheel", 0, `there is no picture "wheel"; there are week, year, hopper, battery`},
		{"week", 20, "20 pixels wide cannot be drawn: 300 to 2000"},
		{"hopper", 0, "does not say what it holds"},
	} {
		_, err := Draw(c.kind, in, Options{Width: c.width, Preset: replay.AllPresets})
		assert.ErrorContains(t, err, c.want)
	}
	in = compile(t, "zone = 'UTC'\n[hopper]\nholds = '1 kg'\n[[meal]]\nname = 'a'\nportion = '3 pockets'\nat = ['07:00']\n", "2026-12-02T09:00:00Z")
	_, err := Draw("hopper", in, Options{Preset: replay.AllPresets})
	assert.ErrorContains(t, err, "does not say what one weighs")
}

// Names come from the owner: they must not leave their place in the picture.
func TestEscaping(t *testing.T) {
	in := compile(t, "plan = '<script>&\"'\nzone = 'UTC'\n[[meal]]\nname = '</title><g onload=x>'\nportion = '1 pocket'\nat = ['07:00']\n", "2026-12-02T09:00:00Z")
	p, err := Draw("week", in, Options{Heading: true, Preset: replay.AllPresets})
	require.NoError(t, err)
	wellFormed(t, p.SVG())
	assert.NotContains(t, string(p.SVG()), "<script")
	assert.NotContains(t, string(p.SVG()), "<g onload")
	assert.NotContains(t, p.Inline("w"), "<g onload")
}

func BenchmarkWeek(b *testing.B) {
	in := compiled(b, "01-two-cats", "2026-12-02T09:00:00Z")
	for b.Loop() {
		p, err := Draw("week", in, Options{Preset: replay.AllPresets})
		require.NoError(b, err)
		b.ReportMetric(float64(len(p.Inline("w"))), "bytes")
	}
}

// colours counts the different ones.
func colours(at func(x, y int) color.Color, w, h int) int {
	seen := map[color.Color]bool{}
	for y := range h {
		for x := range w {
			seen[at(x, y)] = true
		}
	}
	return len(seen)
}

// A date that a month lacks is marked in its empty place.
func TestMonthTooShort(t *testing.T) {
	in := compile(t, "zone = 'UTC'\n[[meal]]\nname = 'sack'\nportion = '1 pocket'\nrrule = 'FREQ=MONTHLY;BYMONTHDAY=31'\nat = ['07:00']\n", "2026-12-02T09:00:00Z")
	d := &drawing{in: in, o: Options{Preset: replay.AllPresets}, from: dayNumber(time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC))}
	l := yearLayout{first: date(d.from)}
	var got []string
	for _, s := range d.signs(l) {
		if s.kind == gapSign {
			got = append(got, fmt.Sprintf("%d-%d", s.month+1, s.day))
		}
	}
	assert.Equal(t, []string{"2-31", "4-31", "6-31", "9-31", "11-31"}, got, "the months of the Gregorian calendar with fewer than 31 days")
}

// Where a pocket holds more than a portion, a serving that turns nothing is not drawn as food, and a day's sum is what falls.
func TestWeekShowsWhatFalls(t *testing.T) {
	in := compile(t, `zone = "UTC"
[wheel]
pocket = "20 g"
[[meal]]
name    = "bite"
portion = "6 g"
at      = ["07:00", "19:00"]
`, "2026-12-03T10:00:00Z")
	p, err := Draw("week", in, Options{})
	require.NoError(t, err)
	assert.Contains(t, p.Desc, "bite nothing yet")
	assert.Contains(t, p.Desc, "bite 20 g")
	assert.NotContains(t, p.Desc, "bite 6 g")
	assert.Contains(t, p.Desc, "A pocket holds 20 g, more than some portions: these are saved up until they fill one. Shown is what falls.")
}
