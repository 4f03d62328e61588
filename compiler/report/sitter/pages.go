package sitter

import (
	"fmt"
	"strings"
	"unicode"

	"github.com/rivo/uniseg"

	"mealtab/compiler/report/chart"
)

// Paper is a size of paper.
type Paper struct {
	Name   string     // on the command line
	CSS    string     // for @page
	MM     [2]float64 // width and height
	margin float64    // CSS pixels
}

// Papers are those that households print on.
func Papers() []Paper {
	return []Paper{{"a4", "A4", [2]float64{210, 297}, 44}, {"letter", "letter", [2]float64{215.9, 279.4}, 40}}
}

// PaperNamed finds a size.
func PaperNamed(name string) (Paper, bool) {
	for _, p := range Papers() {
		if p.Name == strings.ToLower(name) {
			return p, true
		}
	}
	return Paper{}, false
}

func (p Paper) pixels() (width, height float64) { return p.MM[0] / 25.4 * 96, p.MM[1] / 25.4 * 96 }

// Sizes of type, in CSS pixels: the largest with which all fits on a page is taken.
type sizes struct{ text, leading, heading, title, gap float64 }

var (
	generous    = sizes{14.5, 19.5, 17, 25, 19}
	comfortable = sizes{13, 17.5, 15, 22, 15}
	tight       = sizes{11, 14, 12.5, 18, 9}
)

// fitted lays the sheet out in the largest type with which it has one page. Where none does it is comfortable to read: a second page there is anyway.
func (s *Sheet) fitted(p Paper) (l *layout, z sizes) {
	for _, z := range []sizes{generous, comfortable, tight} {
		if l := s.layout(p, z); len(l.pages) == 1 {
			return l, z
		}
	}
	return s.layout(p, comfortable), comfortable
}

func (s *Sheet) layout(p Paper, z sizes) *layout {
	l := newLayout(s, p, z)
	for _, section := range s.Sections {
		l.section(section)
	}
	return l
}

// Pages draws the sheet on one page if it fits, else on as many as it takes, cut between blocks and rows. second names the sections, or parts of
// them, that are not on the first page.
func (s *Sheet) Pages(p Paper) (pages []*chart.Picture, second []string) {
	l, _ := s.fitted(p)
	w, h := p.pixels()
	for i, page := range l.pages {
		if n := len(l.pages); n > 1 {
			page.Marks = append(page.Marks, chart.Text{X: w - p.margin, Y: h - 22, Size: 11, Anchor: chart.End, Paint: chart.Black, S: fmt.Sprintf("page %d of %d", i+1, n)})
		}
	}
	return l.pages, l.second
}

// layout is a sheet in the making.
type layout struct {
	sheet  *Sheet
	paper  Paper
	z      sizes
	pages  []*chart.Picture
	page   *chart.Picture
	y      float64 // lower edge of what stands there
	name   string  // the heading of the section in hand
	second []string
}

func newLayout(s *Sheet, p Paper, z sizes) *layout {
	l := &layout{sheet: s, paper: p, z: z}
	l.turn()
	return l
}

func (l *layout) left() float64 { return l.paper.margin }

func (l *layout) right() float64 {
	w, _ := l.paper.pixels()
	return w - l.paper.margin
}

// turn begins a page.
func (l *layout) turn() {
	w, h := l.paper.pixels()
	l.page = &chart.Picture{Width: w, Height: h, Sheet: true, Millimetres: l.paper.MM, Ground: chart.White, Title: l.sheet.Title, Desc: l.sheet.Dates}
	l.pages = append(l.pages, l.page)
	l.y = l.paper.margin - 8
	for _, line := range lines(l.sheet.Title, l.z.title, l.right()-l.left()) {
		l.y += l.z.title * 1.2
		l.add(chart.Text{X: l.left(), Y: l.y, Size: l.z.title, Bold: true, Paint: chart.Black, S: line})
	}
	l.y += l.z.leading + 2
	l.add(chart.Text{X: l.left(), Y: l.y, Size: l.z.text + 1, Paint: chart.Black, S: l.sheet.Dates})
	l.y += 6
}

func (l *layout) add(m ...chart.Mark) { l.page.Marks = append(l.page.Marks, m...) }

// bottom is where a page ends.
func (l *layout) bottom() float64 {
	_, h := l.paper.pixels()
	return h - l.paper.margin
}

// need turns the page if so much does not fit, and notes what went over.
func (l *layout) need(height float64) {
	if l.y+height > l.bottom() {
		l.turn()
		l.note()
	}
}

func (l *layout) note() {
	if n := len(l.second); n == 0 || l.second[n-1] != l.name {
		l.second = append(l.second, l.name)
	}
}

func (l *layout) section(s Section) {
	l.name = s.Heading
	first := 0.0
	if len(s.Blocks) > 0 {
		first = l.height(s.Blocks[0])
	}
	l.need(l.z.gap + l.z.heading + min(first, 8*l.z.leading))
	if len(l.pages) > 1 {
		l.note()
	}
	l.y += l.z.gap
	l.add(chart.Line{Points: []chart.Point{{X: l.left(), Y: l.y - l.z.gap/3}, {X: l.right(), Y: l.y - l.z.gap/3}}, Width: 1.2, Paint: chart.Black})
	l.y += l.z.heading
	l.add(chart.Text{X: l.left(), Y: l.y, Size: l.z.heading, Bold: true, Paint: chart.Black, S: s.Heading})
	l.y += 3
	for _, b := range s.Blocks {
		l.block(b)
	}
}

// height is that of a block, for deciding where to turn the page.
func (l *layout) height(b Block) float64 {
	if t, ok := b.(Text); ok {
		return float64(len(lines(string(t), l.z.text, l.right()-l.left()))) * l.z.leading
	}
	return 2 * l.z.leading
}

func (l *layout) block(b Block) {
	switch b := b.(type) {
	case Text:
		l.paragraph(string(b))
	case Rows:
		for _, row := range b.Cells {
			l.row(b, row)
		}
	case Ticks:
		l.ticks(b)
	case Blanks:
		l.blanks(b)
	}
}

func (l *layout) paragraph(s string) {
	for _, line := range lines(s, l.z.text, l.right()-l.left()) {
		l.need(l.z.leading)
		l.y += l.z.leading
		l.add(chart.Text{X: l.left(), Y: l.y, Size: l.z.text, Paint: chart.Black, S: line})
	}
}

// row is two cells side by side. One that is higher than half a page goes on over the next.
func (l *layout) row(of Rows, cells [2]string) {
	size, leading := l.z.text, l.z.leading
	if of.Large {
		size, leading = 1.25*size, 1.25*leading
	}
	first := of.First * l.z.text / comfortable.text
	a := lines(cells[0], size, first-8)
	b := lines(cells[1], size, l.right()-l.left()-first)
	n := max(len(a), len(b))
	if height := float64(n) * leading; height < l.bottom()/2 {
		l.need(height)
	}
	for i := range n {
		l.need(leading)
		l.y += leading
		if i < len(a) {
			l.add(chart.Text{X: l.left(), Y: l.y, Size: size, Bold: true, Paint: chart.Black, S: a[i]})
		}
		if i < len(b) {
			l.add(chart.Text{X: l.left() + first, Y: l.y, Size: size, Paint: chart.Black, S: b[i]})
		}
	}
	l.y += 2
}

// ticks are boxes with a word each, in columns.
func (l *layout) ticks(words []string) {
	side, gap := l.z.text, 5.0
	column := 0.0
	for _, w := range words {
		column = max(column, side+gap+width(w, l.z.text)+12)
	}
	each := max(1, int((l.right()-l.left())/column))
	for i, w := range words {
		if i%each == 0 {
			l.need(side + 7)
			l.y += side + 7
		}
		x := l.left() + float64(i%each)*column
		l.box(x, l.y-side+1, side)
		l.add(chart.Text{X: x + side + gap, Y: l.y, Size: l.z.text, Paint: chart.Black, S: w})
	}
	l.y += 3
}

func (l *layout) box(x, y, side float64) {
	l.add(chart.Line{Points: []chart.Point{{X: x, Y: y}, {X: x + side, Y: y}, {X: x + side, Y: y + side}, {X: x, Y: y + side}, {X: x, Y: y}}, Width: 1, Paint: chart.Black})
}

// blanks are lines to write on, two in a row where they have words.
func (l *layout) blanks(words []string) {
	half := (l.right() - l.left() - 24) / 2
	step := l.z.leading + 9
	for i, w := range words {
		x, end := l.left(), l.right()
		if w != "" {
			x += float64(i%2) * (half + 24)
			end = x + half
		}
		if w == "" || i%2 == 0 {
			l.need(step)
			l.y += step
		}
		start := x
		if w != "" {
			l.add(chart.Text{X: x, Y: l.y, Size: l.z.text, Paint: chart.Black, S: w})
			start += width(w, l.z.text) + 8
		}
		l.add(chart.Line{Points: []chart.Point{{X: start, Y: l.y + 3}, {X: end, Y: l.y + 3}}, Width: 0.8, Paint: chart.Black})
	}
	l.y += 5
}

// width is an upper estimate of a text's width in a sans-serif face: nothing may be clipped, whatever face the reader has.
func width(s string, size float64) (w float64) {
	for _, r := range s {
		switch {
		case unicode.Is(unicode.Mn, r) || unicode.Is(unicode.Cf, r):
		case uniseg.StringWidth(string(r)) > 1:
			w += 1.05
		case r == 'm' || r == 'w' || r == 'M' || r == 'W' || r == '@' || r == '%' || r == '…':
			w += 0.95
		case strings.ContainsRune("iljtfrI.,:;'!|-() ", r):
			w += 0.38
		case unicode.IsUpper(r):
			w += 0.76
		case r > 0x2FF:
			w += 0.75
		default:
			w += 0.6
		}
	}
	return w * size
}

// lines breaks a text so that each line fits; a word that is wider is broken too.
func lines(s string, size, most float64) (list []string) {
	line := ""
	for word := range strings.FieldsSeq(s) {
		for width(word, size) > most {
			if line != "" {
				list, line = append(list, line), ""
			}
			head := ""
			for _, r := range word {
				if head != "" && width(head+string(r), size) > most {
					break
				}
				head += string(r)
			}
			list, word = append(list, head), word[len(head):]
		}
		longer := strings.TrimLeft(line+" "+word, " ")
		if line == "" || width(longer, size) <= most {
			line = longer
			continue
		}
		list, line = append(list, line), word
	}
	return append(list, line)
}
