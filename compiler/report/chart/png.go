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
	draw.Draw(r.img, r.img.Bounds(), r.source(p.ground()), image.Point{}, draw.Src)
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
	r     *rasterizer
	lines [][][2]float32 // one closed outline each
	curve bool           // they are cubic curves, three points each after the first point
}

func (r *rasterizer) path() *path { return &path{r: r} }

func (p *path) point(x, y float64) [2]float32 {
	return [2]float32{float32(x * p.r.scale), float32(y * p.r.scale)}
}

func (p *path) polygon(list []Point) {
	line := make([][2]float32, len(list))
	for i, q := range list {
		line[i] = p.point(q.X, q.Y)
	}
	p.lines = append(p.lines, line)
}

// kappa makes four cubic curves a circle within 0.03 % of the radius.
const kappa = 0.5523

// circle adds one, as a start and four curves of three points; reversed it cuts a hole.
func (p *path) circle(cx, cy, radius float64, reversed bool) {
	k, f := kappa*radius, 1.0
	if reversed {
		f = -1
	}
	p.curve = true
	line := [][2]float32{p.point(cx+radius, cy)}
	for _, q := range [][2]float64{
		{radius, k}, {k, radius}, {0, radius},
		{-k, radius}, {-radius, k}, {-radius, 0},
		{-radius, -k}, {-k, -radius}, {0, -radius},
		{k, -radius}, {radius, -k}, {radius, 0},
	} {
		line = append(line, p.point(cx+q[0], cy+f*q[1]))
	}
	p.lines = append(p.lines, line)
}

// box is the part of the picture that the outline lies in. The library goes over all of what it is given, and a picture may have
// thousands of small marks.
func (p *path) box() image.Rectangle {
	least, most := [2]float32{math.MaxFloat32, math.MaxFloat32}, [2]float32{-math.MaxFloat32, -math.MaxFloat32}
	for _, line := range p.lines {
		for _, q := range line {
			for axis := range q {
				least[axis], most[axis] = min(least[axis], q[axis]), max(most[axis], q[axis])
			}
		}
	}
	floor := func(v float32) int { return int(math.Floor(float64(v))) }
	return image.Rect(floor(least[0]), floor(least[1]), floor(most[0])+1, floor(most[1])+1).Intersect(p.r.img.Bounds())
}

func (p *path) fill(paint Paint) {
	if len(p.lines) == 0 {
		return
	}
	box := p.box()
	if box.Empty() {
		return
	}
	v := vector.NewRasterizer(box.Dx(), box.Dy())
	at := func(q [2]float32) (float32, float32) { return q[0] - float32(box.Min.X), q[1] - float32(box.Min.Y) }
	for _, line := range p.lines {
		v.MoveTo(at(line[0]))
		for i := 1; i < len(line); i++ {
			if !p.curve {
				v.LineTo(at(line[i]))
			} else if i%3 == 0 {
				ax, ay := at(line[i-2])
				bx, by := at(line[i-1])
				ex, ey := at(line[i])
				v.CubeTo(ax, ay, bx, by, ex, ey)
			}
		}
		v.ClosePath()
	}
	v.Draw(p.r.img, box, p.r.source(paint), image.Point{})
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
