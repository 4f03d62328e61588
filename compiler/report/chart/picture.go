package chart

import (
	"math"
	"strings"
	"unicode/utf8"
)

// Picture is a drawing: marks in order, the first lowest. Both writers, SVG and PNG, draw it.
type Picture struct {
	Width, Height float64 // CSS pixels
	Title, Desc   string  // the text alternative: what it is, and what it says
	Marks         []Mark
	// Sheet is set for a sheet of paper: the SVG has the size of A4 and is never light on dark.
	Sheet bool
	// Millimetres is the size of a sheet that is not A4: width and height.
	Millimetres [2]float64
	// Ground is the paint below all marks; "": that of paper.
	Ground Paint
}

// ground is the paint below all marks.
func (p *Picture) ground() Paint {
	if p.Ground == "" {
		return Paper
	}
	return p.Ground
}

// Mark is a [Rect], [Rects], [Circle], [Poly], [Line], [Text] or [Group].
type Mark interface {
	svg(*svgWriter)
	raster(*rasterizer)
}

// Rect is a filled rectangle with corners of radius R.
type Rect struct {
	X, Y, W, H, R float64
	Paint         Paint
	Tip           string // shown when pointed at
}

// Rects is many rectangles of one paint, without tips: a year has 365 bars.
type Rects struct {
	Paint Paint
	List  []Rect
}

// Circle is filled, or a ring where Ring is its width.
type Circle struct {
	X, Y, R, Ring float64
	Paint         Paint
	Tip           string
}

// Point is a place.
type Point struct{ X, Y float64 }

// Poly is a filled polygon.
type Poly struct {
	Points []Point
	Paint  Paint
	Tip    string
}

// Line is a stroke through points.
type Line struct {
	Points []Point
	Width  float64
	Paint  Paint
}

// Anchor says which end of a text its X is.
type Anchor int

// The anchors of SVG's text-anchor.
const (
	Start Anchor = iota
	Middle
	End
)

// Text stands on the base line Y.
type Text struct {
	X, Y, Size float64
	Anchor     Anchor
	Bold       bool
	Paint      Paint
	S          string
}

// Group is marks that share a tip.
type Group struct {
	Tip   string
	Marks []Mark
}

// Shape is the outline by which a meal is told apart beside its colour.
type Shape int

// shapeCount is how many shapes there are; meals beyond take them again in another colour.
const shapeCount = 6

// shape draws a meal's mark whose area is that of a circle of radius r.
func shape(s Shape, x, y, r float64, p Paint) Mark {
	switch s % shapeCount {
	case 1:
		a := r * math.Sqrt(math.Pi) / 2
		return Rect{X: x - a, Y: y - a, W: 2 * a, H: 2 * a, R: r / 5, Paint: p}
	case 2:
		return polygon(4, 0, x, y, r, p)
	case 3:
		return polygon(3, -math.Pi/2, x, y, r, p)
	case 4:
		return polygon(6, 0, x, y, r, p)
	case 5:
		return polygon(3, math.Pi/2, x, y, r, p)
	}
	return Circle{X: x, Y: y, R: r, Paint: p}
}

// polygon is a regular one with its first corner in the direction turn.
func polygon(n int, turn, x, y, r float64, p Paint) Mark {
	angle := 2 * math.Pi / float64(n)
	outer := r * math.Sqrt(2*math.Pi/(float64(n)*math.Sin(angle))) // area of the n-gon = area of the circle
	points := make([]Point, n)
	for i := range points {
		sin, cos := math.Sincos(turn + float64(i)*angle)
		points[i] = Point{x + outer*cos, y + outer*sin}
	}
	return Poly{Points: points, Paint: p}
}

// charWidth is about the mean width of a character of a sans-serif face, in parts of its size.
const charWidth = 0.56

func textWidth(s string, size float64) float64 {
	return float64(utf8.RuneCountInString(s)) * size * charWidth
}

// clipText shortens a text to a width.
func clipText(s string, size, width float64) string {
	runes := []rune(s)
	most := int(width / (size * charWidth))
	if len(runes) <= most {
		return s
	}
	return string(runes[:max(0, most-1)]) + "…"
}

// Lines breaks a text into lines that fit a width; a word that is wider is broken too.
func Lines(s string, size, width float64) (lines []string) {
	line, most := "", max(1, int(width/(size*charWidth)))
	for word := range strings.FieldsSeq(s) {
		for utf8.RuneCountInString(word) > most {
			if line != "" {
				lines, line = append(lines, line), ""
			}
			head := string([]rune(word)[:most])
			lines, word = append(lines, head), word[len(head):]
		}
		if longer := strings.TrimLeft(line+" "+word, " "); line == "" || textWidth(longer, size) <= width {
			line = longer
			continue
		}
		lines, line = append(lines, line), word
	}
	return append(lines, line)
}

// paragraph writes a text in lines that fit and returns the base line of the last.
func (d *drawing) paragraph(x, y float64, s string) float64 {
	const size, leading = 12, 17
	for i, line := range Lines(s, size, d.width-8-x) {
		if i > 0 {
			y += leading
		}
		d.add(Text{X: x, Y: y, Size: size, Paint: Ink, S: line})
	}
	return y
}
