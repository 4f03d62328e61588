package sitter

import (
	"bytes"
	"fmt"
	"html/template"
	"strings"
)

// CSS is the style of [Sheet.HTML], for the screen and for print. Selectors begin with .sitter, so that it can stand in a page that has more; @page is
// for all of what is printed.
func CSS(p Paper) string {
	return fmt.Sprintf(`@page{size:%s;margin:10mm}
.sitter{font:1em/1.3 system-ui,sans-serif;color:#000;background:#fff;max-width:%gpx;overflow-wrap:anywhere}
.sitter h1{font-size:1.7em;line-height:1.15;margin:0}.sitter h2{font-size:1.15em;line-height:1.25;margin:.6em 0 0;padding-top:.2em;border-top:1.2px solid #000;break-after:avoid}
.sitter p{margin:.1em 0}.sitter table{border-spacing:0}.sitter tr,.sitter p,.sitter dl{break-inside:avoid}
.sitter td,.sitter th{padding:0;vertical-align:top;text-align:start}.sitter th{padding-inline-end:8px}
.sitter .large{font-size:1.25em}.sitter .large th{min-width:0;padding-inline-end:1em}
.sitter ul{list-style:none;margin:.3em 0;padding:0;display:flex;flex-wrap:wrap;gap:.3em 1em}
.sitter li::before{content:"";display:inline-block;width:.8em;height:.8em;border:1px solid #000;margin-inline-end:.4em;vertical-align:-.05em}
.sitter dl{display:grid;grid-template-columns:1fr 1fr;gap:0 24px;margin:0}
.sitter dl div{display:flex;height:1.9em;align-items:end}.sitter dl div.whole{grid-column:1/3}.sitter dt{padding-inline-end:8px}
.sitter dd{flex:1;margin:0 0 .25em;border-bottom:.8px solid #000;height:1px}
`, p.CSS, p.MM[0]/25.4*96-76)
}

var article = template.Must(template.New("sitter").Funcs(template.FuncMap{"isolated": isolated, "kind": kindOf, "em": func(pixels float64) float64 { return pixels / comfortable.text }}).Parse(
	`<article class="sitter" style="font-size:{{.Size}}px"><h1>{{isolated .Title}}</h1><p>{{.Dates}}</p>
{{range .Sections}}<section data-part="{{.Name}}"><h2>{{.Heading}}</h2>
{{range .Blocks}}{{$kind := kind .}}{{if eq $kind "text"}}<p>{{isolated .}}</p>
{{else if eq $kind "rows"}}<table{{if .Large}} class="large"{{end}}><tbody>{{$first := em .First}}{{$large := .Large}}{{range .Cells}}<tr><th scope="row"{{if not $large}} style="min-width:{{$first}}em"{{end}}>{{isolated (index . 0)}}</th><td>{{isolated (index . 1)}}</td></tr>
{{end}}</tbody></table>
{{else if eq $kind "ticks"}}<ul>{{range .}}<li>{{.}}</li>{{end}}</ul>
{{else}}<dl>{{range .}}<div{{if not .}} class="whole"{{end}}><dt>{{.}}</dt><dd></dd></div>{{end}}</dl>
{{end}}{{end}}</section>
{{end}}</article>
`))

func kindOf(b Block) string {
	switch b.(type) {
	case Text:
		return "text"
	case Rows:
		return "rows"
	case Ticks:
		return "ticks"
	}
	return "blanks"
}

// isolated writes isolates (UAX #9) as HTML has them.
func isolated(v any) template.HTML {
	s := template.HTMLEscapeString(fmt.Sprint(v))
	return template.HTML(strings.NewReplacer("\u2068", "<bdi>", "\u2069", "</bdi>").Replace(s))
}

// HTML is the sheet as an article, for a page that has [CSS]; its type is as large as the paper allows.
func (s *Sheet) HTML(p Paper) string {
	const narrower = 0.93 // a browser's face may be wider than what [width] reckons with, and its lines are set apart by more
	_, z := s.fitted(p)
	var b bytes.Buffer
	if err := article.Execute(&b, struct {
		*Sheet
		Size float64
	}{s, narrower * z.text}); err != nil {
		panic(err) // the template is constant, and a buffer takes everything
	}
	return b.String()
}

// Document is the article with its style, as a file that stands alone.
func (s *Sheet) Document(p Paper) string {
	return "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>" + template.HTMLEscapeString(plain(s.Title)) + "</title>\n<style>body{margin:0}" +
		CSS(p) + "</style></head>\n<body>" + s.HTML(p) + "</body></html>\n"
}

// plain is a text without isolates.
func plain(s string) string { return strings.NewReplacer("\u2068", "", "\u2069", "").Replace(s) }
