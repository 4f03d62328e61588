package chart

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"math"
	"strconv"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// PNG returns the picture as pixels, scale of them to a CSS pixel, on light or dark ground. The marks are drawn directly: the
// SVG renderers written in Go draw no text.
func (p *Picture) PNG(scale float64, dark bool) ([]byte, error) {
	if scale < 0.5 || scale > 4 {
		return nil, fmt.Errorf("a scale of %g is outside 0.5 to 4", scale)
	}
	w, h := int(math.Ceil(p.Width*scale)), int(math.Ceil(p.Height*scale))
	r := &rasterizer{img: image.NewRGBA(image.Rect(0, 0, w, h)), scale: scale, faces: map[faceKey]font.Face{}}
	if dark {
		r.shade = 1
	}
	draw.Draw(r.img, r.img.Bounds(), r.source(Paper), image.Point{}, draw.Src)
	for _, m := range p.Marks {
		m.raster(r)
	}
	if r.err != nil {
		return nil, r.err
	}
	var b bytes.Buffer
	err := png.Encode(&b, r.img)
	return b.Bytes(), err
}

type faceKey struct {
	size float64
	bold bool
}

type rasterizer struct {
	img   *image.RGBA
	scale float64
	shade int // 0: light, 1: dark
	faces map[faceKey]font.Face
	err   error
}

// source is a paint as the drawing library wants it.
func (r *rasterizer) source(p Paint) *image.Uniform {
	v, err := strconv.ParseUint(shades[p][r.shade][1:], 16, 32)
	if err != nil {
		r.err = err
	}
	return image.NewUniform(color.RGBA{uint8(v >> 16), uint8(v >> 8), uint8(v), 0xFF})
}

// path is an outline in pixels that is filled when done.
type path struct {
	r *rasterizer
	v *vector.Rasterizer
}

func (r *rasterizer) path() path {
	b := r.img.Bounds()
	return path{r, vector.NewRasterizer(b.Dx(), b.Dy())}
}

func (p path) point(x, y float64) (float32, float32) {
	return float32(x * p.r.scale), float32(y * p.r.scale)
}

func (p path) polygon(list []Point) {
	for i, q := range list {
		x, y := p.point(q.X, q.Y)
		if i == 0 {
			p.v.MoveTo(x, y)
		} else {
			p.v.LineTo(x, y)
		}
	}
	p.v.ClosePath()
}

// kappa makes four cubic curves a circle within 0.03 % of the radius.
const kappa = 0.5523

// circle adds one; reversed it cuts a hole.
func (p path) circle(cx, cy, radius float64, reversed bool) {
	k, f := kappa*radius, 1.0
	if reversed {
		f = -1
	}
	p.v.MoveTo(p.point(cx+radius, cy))
	cube := func(x1, y1, x2, y2, x3, y3 float64) {
		ax, ay := p.point(cx+x1, cy+f*y1)
		bx, by := p.point(cx+x2, cy+f*y2)
		ex, ey := p.point(cx+x3, cy+f*y3)
		p.v.CubeTo(ax, ay, bx, by, ex, ey)
	}
	cube(radius, k, k, radius, 0, radius)
	cube(-k, radius, -radius, k, -radius, 0)
	cube(-radius, -k, -k, -radius, 0, -radius)
	cube(k, -radius, radius, -k, radius, 0)
	p.v.ClosePath()
}

func (p path) fill(paint Paint) {
	p.v.Draw(p.r.img, p.r.img.Bounds(), p.r.source(paint), image.Point{})
}

// raster leaves out the rounding of corners, which is a pixel or two.
func (m Rect) raster(r *rasterizer) {
	p := r.path()
	p.polygon([]Point{{m.X, m.Y}, {m.X + m.W, m.Y}, {m.X + m.W, m.Y + m.H}, {m.X, m.Y + m.H}})
	p.fill(m.Paint)
}

func (m Rects) raster(r *rasterizer) {
	p := r.path()
	for _, q := range m.List {
		p.polygon([]Point{{q.X, q.Y}, {q.X + q.W, q.Y}, {q.X + q.W, q.Y + q.H}, {q.X, q.Y + q.H}})
	}
	p.fill(m.Paint)
}

func (m Circle) raster(r *rasterizer) {
	p := r.path()
	if m.Ring > 0 {
		p.circle(m.X, m.Y, m.R+m.Ring/2, false)
		p.circle(m.X, m.Y, max(0, m.R-m.Ring/2), true)
	} else {
		p.circle(m.X, m.Y, m.R, false)
	}
	p.fill(m.Paint)
}

func (m Poly) raster(r *rasterizer) {
	p := r.path()
	p.polygon(m.Points)
	p.fill(m.Paint)
}

// raster draws each stretch as a rectangle of its own.
func (m Line) raster(r *rasterizer) {
	for i := 1; i < len(m.Points); i++ {
		a, b := m.Points[i-1], m.Points[i]
		length := math.Hypot(b.X-a.X, b.Y-a.Y)
		if length == 0 {
			continue
		}
		dx, dy := (b.X-a.X)/length*m.Width/2, (b.Y-a.Y)/length*m.Width/2
		p := r.path()
		p.polygon([]Point{{a.X + dy, a.Y - dx}, {b.X + dy, b.Y - dx}, {b.X - dy, b.Y + dx}, {a.X - dy, a.Y + dx}})
		p.fill(m.Paint)
	}
}

func (r *rasterizer) face(key faceKey) font.Face {
	if f := r.faces[key]; f != nil {
		return f
	}
	data := goregular.TTF
	if key.bold {
		data = gobold.TTF
	}
	f, err := opentype.Parse(data)
	if err != nil {
		r.err = err
		return nil
	}
	face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: key.size * r.scale, DPI: 72, Hinting: font.HintingFull})
	if err != nil {
		r.err = err
		return nil
	}
	r.faces[key] = face
	return face
}

func (m Text) raster(r *rasterizer) {
	face := r.face(faceKey{m.Size, m.Bold})
	if face == nil {
		return
	}
	d := font.Drawer{Dst: r.img, Src: r.source(m.Paint), Face: face}
	x := fixed.Int26_6(m.X * r.scale * 64)
	switch width := d.MeasureString(m.S); m.Anchor {
	case Middle:
		x -= width / 2
	case End:
		x -= width
	}
	d.Dot = fixed.Point26_6{X: x, Y: fixed.Int26_6(m.Y * r.scale * 64)}
	d.DrawString(m.S)
}

func (g Group) raster(r *rasterizer) {
	for _, m := range g.Marks {
		m.raster(r)
	}
}
