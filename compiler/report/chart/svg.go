package chart

import (
	"bytes"
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"
)

// SVG returns a picture that stands alone: with its ground, and colours for light and dark.
func (p *Picture) SVG() []byte {
	w := &svgWriter{classes: map[string]bool{}}
	Rect{W: p.Width, H: p.Height, Paint: p.ground()}.svg(w)
	for _, m := range p.Marks {
		m.svg(w)
	}
	names := make([]string, 0, len(w.classes))
	for class := range w.classes {
		names = append(names, class)
	}
	sort.Strings(names)
	width, height, style := number(p.Width), number(p.Height), css("", names, !p.Sheet)
	if p.Sheet {
		width, height = "210mm", "297mm"
		if mm := p.Millimetres; mm[0] > 0 {
			width, height = number(mm[0])+"mm", number(mm[1])+"mm"
		}
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s" width="%s" height="%s" role="img" aria-labelledby="t d" font-family="%s">`+"\n",
		number(p.Width), number(p.Height), width, height, fontFamily)
	fmt.Fprintf(&b, "<title id=\"t\">%s</title>\n<desc id=\"d\">%s</desc>\n<style>%s</style>\n", escape(p.Title), escape(p.Desc), style)
	b.Write(w.b.Bytes())
	b.WriteString("</svg>\n")
	return b.Bytes()
}

// Inline returns a picture for the text of an HTML page, whose style sheet has the colours ([CSS]). The id makes the names of
// its title and description unique in the page.
func (p *Picture) Inline(id string) string {
	w := &svgWriter{classes: map[string]bool{}}
	for _, m := range p.Marks {
		m.svg(w)
	}
	return fmt.Sprintf(`<svg class="chart" viewBox="0 0 %s %s" role="img" aria-labelledby="%[3]s-t %[3]s-d"><title id="%[3]s-t">%[4]s</title><desc id="%[3]s-d">%[5]s</desc>`,
		number(p.Width), number(p.Height), id, escape(p.Title), escape(p.Desc)) + "\n" + w.b.String() + "</svg>"
}

// fontFamily takes the reader's own face: nothing is fetched.
const fontFamily = "system-ui, sans-serif"

type svgWriter struct {
	b       bytes.Buffer
	classes map[string]bool
}

func (w *svgWriter) class(kind string, p Paint) string {
	name := kind + "-" + string(p)
	w.classes[name] = true
	return name
}

// element closes a mark, with its tip if it has one.
func (w *svgWriter) element(name, attributes, tip string) {
	if tip == "" {
		fmt.Fprintf(&w.b, "<%s %s/>\n", name, attributes)
		return
	}
	fmt.Fprintf(&w.b, "<%s %s><title>%s</title></%[1]s>\n", name, attributes, escape(tip))
}

// number rounds to hundredths, which no eye sees, so that every machine writes the same.
func number(v float64) string {
	v = math.Round(v*100) / 100
	if v == 0 {
		v = 0 // not -0
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

func attribute(name string, v float64) string {
	if v == 0 {
		return ""
	}
	return fmt.Sprintf(` %s="%s"`, name, number(v))
}

var escaper = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;")

// escape makes a text XML; control characters, which XML 1.0 has not, are dropped.
func escape(s string) string {
	s = strings.Map(func(r rune) rune {
		if r < ' ' && r != '\n' || r == 0xFFFE || r == 0xFFFF {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
	return escaper.Replace(s)
}

func (r Rect) svg(w *svgWriter) {
	w.element("rect", fmt.Sprintf(`class="%s" x="%s" y="%s" width="%s" height="%s"%s`, w.class("f", r.Paint), number(r.X), number(r.Y), number(r.W), number(r.H),
		attribute("rx", r.R)), r.Tip)
}

func (m Rects) svg(w *svgWriter) {
	if len(m.List) == 0 {
		return
	}
	fmt.Fprintf(&w.b, `<path class="%s" d="`, w.class("f", m.Paint))
	for _, r := range m.List {
		fmt.Fprintf(&w.b, "M%s %sh%sv%sh%sz", number(r.X), number(r.Y), number(r.W), number(r.H), number(-r.W))
	}
	w.b.WriteString("\"/>\n")
}

func (c Circle) svg(w *svgWriter) {
	at := fmt.Sprintf(`cx="%s" cy="%s" r="%s"`, number(c.X), number(c.Y), number(c.R))
	if c.Ring > 0 {
		w.element("circle", fmt.Sprintf(`class="%s" fill="none" stroke-width="%s" %s`, w.class("s", c.Paint), number(c.Ring), at), c.Tip)
		return
	}
	w.element("circle", fmt.Sprintf(`class="%s" %s`, w.class("f", c.Paint), at), c.Tip)
}

func points(list []Point) string {
	words := make([]string, len(list))
	for i, p := range list {
		words[i] = number(p.X) + "," + number(p.Y)
	}
	return strings.Join(words, " ")
}

func (p Poly) svg(w *svgWriter) {
	w.element("polygon", fmt.Sprintf(`class="%s" points="%s"`, w.class("f", p.Paint), points(p.Points)), p.Tip)
}

func (l Line) svg(w *svgWriter) {
	w.element("polyline", fmt.Sprintf(`class="%s" fill="none" stroke-width="%s" points="%s"`, w.class("s", l.Paint), number(l.Width), points(l.Points)), "")
}

func (t Text) svg(w *svgWriter) {
	anchor, weight := "", ""
	if t.Anchor != Start {
		anchor = fmt.Sprintf(` text-anchor="%s"`, map[Anchor]string{Middle: "middle", End: "end"}[t.Anchor])
	}
	if t.Bold {
		weight = ` font-weight="600"`
	}
	fmt.Fprintf(&w.b, "<text class=\"%s\" x=\"%s\" y=\"%s\" font-size=\"%s\"%s%s>%s</text>\n",
		w.class("f", t.Paint), number(t.X), number(t.Y), number(t.Size), anchor, weight, escape(t.S))
}

func (g Group) svg(w *svgWriter) {
	fmt.Fprintf(&w.b, "<g><title>%s</title>", escape(g.Tip))
	for _, m := range g.Marks {
		m.svg(w)
	}
	w.b.WriteString("</g>\n")
}
