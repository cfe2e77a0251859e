package charts

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"io"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// fontFamily lists typefaces with the widths of Liberation Sans, then any.
const fontFamily = "Liberation Sans, Arimo, Arial, Helvetica, sans-serif"

// WriteSVG draws the season as one svg element without an XML declaration, so
// that it can stand in an HTML page as well as in a file of its own. It uses
// presentation attributes only and no script, style or link, has role "img",
// a title and a description, and takes the width of its place unless
// [Options.Fixed] is set.
//
// The error wraps [ErrInvalidSeason] or [ErrInvalidOptions], or comes from w.
// Nothing is written unless the whole chart could be drawn.
func (s Season) WriteSVG(w io.Writer, opt Options) error {
	return writeSVG(w, opt, "season", s.lay)
}

// lay lays the season out.
func (s Season) lay(opt Options) (drawing, error) {
	m, err := s.model()
	if err != nil {
		return nil, err
	}
	return newSheet(m, opt), nil
}

// writeSVG lays a chart out and draws it as one svg element; id starts its ids
// unless the options name another.
func writeSVG(w io.Writer, opt Options, id string, lay func(Options) (drawing, error)) error {
	opt, err := opt.withDefaults(id)
	if err != nil {
		return err
	}
	d, err := lay(opt)
	if err != nil {
		return err
	}
	b := d.on()
	c := newSVGCanvas(b.h)
	d.draw(c)

	var head bytes.Buffer
	width, height := "100%", ""
	if opt.Fixed {
		width, height = coord(b.w), ` height="`+coord(b.h)+`"`
	}
	fmt.Fprintf(&head, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s" width="%s"%s role="img" aria-labelledby="%s-title %[5]s-desc" font-family="%s">`+"\n",
		coord(b.w), coord(b.h), width, height, opt.ID, fontFamily)
	fmt.Fprintf(&head, "<title id=\"%s-title\">%s</title>\n", opt.ID, escape(b.title))
	fmt.Fprintf(&head, "<desc id=\"%s-desc\">%s</desc>\n", opt.ID, escape(b.desc))
	head.Write(c.buf.Bytes())
	head.WriteString("</svg>\n")
	_, err = w.Write(head.Bytes())
	return err
}

// svgCanvas is a vg.Canvas that writes SVG elements with the origin at the top
// left. It differs from gonum's vgsvg in what pages need: presentation
// attributes in place of style attributes, no family on each text, the planned
// width of each text, titled groups, coordinates to a hundredth of a px.
type svgCanvas struct {
	buf   bytes.Buffer
	h     float64
	state svgState
	stack []svgState
}

type svgState struct {
	m     affine
	color color.Color
	width float64
	dash  string
}

var _ vg.Canvas = (*svgCanvas)(nil)

func newSVGCanvas(h float64) *svgCanvas {
	c := &svgCanvas{h: h, state: svgState{m: affine{1, 0, 0, 1, 0, 0}}}
	vg.Initialize(c)
	return c
}

func (c *svgCanvas) SetLineWidth(w vg.Length) { c.state.width = float64(w) }

func (c *svgCanvas) SetLineDash(pattern []vg.Length, offset vg.Length) {
	l := make([]string, len(pattern))
	for i, d := range pattern {
		l[i] = coord(float64(d))
	}
	c.state.dash = strings.Join(l, " ")
	if c.state.dash != "" && offset != 0 {
		c.state.dash += `" stroke-dashoffset="` + coord(float64(offset))
	}
}

func (c *svgCanvas) SetColor(clr color.Color) {
	if clr == nil {
		clr = color.Black
	}
	c.state.color = clr
}

func (c *svgCanvas) Rotate(rad float64) {
	sin, cos := math.Sincos(rad)
	c.state.m = c.state.m.then(affine{cos, sin, -sin, cos, 0, 0})
}

func (c *svgCanvas) Translate(pt vg.Point) {
	c.state.m = c.state.m.then(affine{1, 0, 0, 1, float64(pt.X), float64(pt.Y)})
}

func (c *svgCanvas) Scale(x, y float64) {
	c.state.m = c.state.m.then(affine{x, 0, 0, y, 0, 0})
}

func (c *svgCanvas) Push() { c.stack = append(c.stack, c.state) }

func (c *svgCanvas) Pop() {
	c.state = c.stack[len(c.stack)-1]
	c.stack = c.stack[:len(c.stack)-1]
}

func (c *svgCanvas) Stroke(p vg.Path) {
	if c.state.width <= 0 {
		return
	}
	fmt.Fprintf(&c.buf, `<path d="%s" fill="none" stroke="%s"`, c.data(p), hex(c.state.color))
	if c.state.width != 1 {
		fmt.Fprintf(&c.buf, ` stroke-width="%s"`, coord(c.state.width))
	}
	if c.state.dash != "" {
		fmt.Fprintf(&c.buf, ` stroke-dasharray="%s"`, c.state.dash)
	}
	c.buf.WriteString("/>\n")
}

func (c *svgCanvas) Fill(p vg.Path) {
	fmt.Fprintf(&c.buf, `<path d="%s" fill="%s"/>`+"\n", c.data(p), hex(c.state.color))
}

// FillString writes a text that takes up its planned width whatever font it
// is shown in.
func (c *svgCanvas) FillString(f font.Face, pt vg.Point, s string) {
	if f.Font.Size == 0 || s == "" {
		return
	}
	x, y := c.point(pt)
	fmt.Fprintf(&c.buf, `<text x="%s" y="%s" font-size="%s"`, coord(x), coord(y), coord(float64(f.Font.Size)))
	if f.Font.Weight >= boldWeight {
		c.buf.WriteString(` font-weight="bold"`)
	}
	if m := c.state.m; m[0] != 1 || m[1] != 0 || m[2] != 0 || m[3] != 1 {
		// Turn about the text's own start; y points down here.
		fmt.Fprintf(&c.buf, ` transform="matrix(%s %s %s %s %s %s)"`, coord(m[0]), coord(-m[1]), coord(-m[2]), coord(m[3]),
			coord(x-m[0]*x+m[2]*y), coord(y+m[1]*x-m[3]*y))
	}
	fmt.Fprintf(&c.buf, ` textLength="%s" lengthAdjust="spacingAndGlyphs" fill="%s">%s</text>`+"\n",
		coord(float64(f.Width(s))), hex(c.state.color), escape(s))
}

// DrawImage draws nothing: no plotter of this package draws images.
func (c *svgCanvas) DrawImage(vg.Rectangle, image.Image) {}

// begin opens a group of a class, with a number unless n is 0 and a title
// unless it is empty.
func (c *svgCanvas) begin(class string, n int, title string) {
	fmt.Fprintf(&c.buf, `<g class="%s"`, escape(class))
	if n != 0 {
		fmt.Fprintf(&c.buf, ` data-number="%d"`, n)
	}
	c.buf.WriteString(">\n")
	if title != "" {
		fmt.Fprintf(&c.buf, "<title>%s</title>\n", escape(title))
	}
}

func (c *svgCanvas) end() { c.buf.WriteString("</g>\n") }

// point returns where p is drawn, from the top left.
func (c *svgCanvas) point(p vg.Point) (x, y float64) {
	x, y = c.state.m.apply(float64(p.X), float64(p.Y))
	return x, c.h - y
}

// data writes a path, with the short commands H and V where a line is level
// or upright.
func (c *svgCanvas) data(path vg.Path) string {
	var (
		b      []byte
		px, py string   // where the pen is, as written
		at     vg.Point // and as given
	)
	to := func(op string, p vg.Point) {
		x, y := c.point(p)
		sx, sy := coord(x), coord(y)
		switch {
		case op == "L" && sx == px && sy == py:
		case op == "L" && sy == py:
			b = append(append(b, 'H'), sx...)
		case op == "L" && sx == px:
			b = append(append(b, 'V'), sy...)
		default:
			b = append(append(append(append(b, op...), sx...), ','), sy...)
		}
		at, px, py = p, sx, sy
	}
	for _, p := range path {
		switch p.Type {
		case vg.MoveComp:
			to("M", p.Pos)
		case vg.LineComp:
			to("L", p.Pos)
		case vg.CurveComp:
			op := "Q"
			if len(p.Control) == 2 {
				op = "C"
			}
			for _, q := range p.Control {
				to(op, q)
				op = " "
			}
			to(op, p.Pos)
		case vg.ArcComp:
			on := func(a float64) vg.Point {
				sin, cos := math.Sincos(a)
				return p.Pos.Add(vg.Point{X: vg.Length(cos), Y: vg.Length(sin)}.Scale(p.Radius))
			}
			if from := on(p.Start); len(b) == 0 {
				to("M", from)
			} else if math.Hypot(float64(from.X-at.X), float64(from.Y-at.Y)) > 1e-6 {
				to("L", from)
			}
			// Pieces of at most half a circle need no flag for the long way.
			n := max(1, math.Ceil(math.Abs(p.Angle)/math.Pi-1e-9))
			for i := 1.0; i <= n; i++ {
				to(c.arc(float64(p.Radius), p.Angle < 0), on(p.Start+i*p.Angle/n))
			}
		case vg.CloseComp:
			b = append(b, 'Z')
		}
	}
	return string(b)
}

// arc is the command for an arc of radius r, all but its end; clockwise is
// meant with y upwards.
func (c *svgCanvas) arc(r float64, clockwise bool) string {
	det := c.state.m[0]*c.state.m[3] - c.state.m[1]*c.state.m[2]
	s := coord(r * math.Sqrt(math.Abs(det))) // Exact while both axes keep one scale.
	sweep := "0"
	if clockwise != (det < 0) {
		sweep = "1"
	}
	return "A" + s + " " + s + " 0 0 " + sweep + " "
}

// affine is x' = m0 x + m2 y + m4, y' = m1 x + m3 y + m5, with y upwards.
type affine [6]float64

func (m affine) apply(x, y float64) (float64, float64) {
	return m[0]*x + m[2]*y + m[4], m[1]*x + m[3]*y + m[5]
}

// then returns the transform that first applies n, then m.
func (m affine) then(n affine) affine {
	a, b := m.apply(n[0], n[1])
	c, d := m.apply(n[2], n[3])
	e, f := m.apply(n[4], n[5])
	return affine{a - m[4], b - m[5], c - m[4], d - m[5], e, f}
}

// coord writes a number to at most two decimals.
func coord(x float64) string { return string(appendCoord(nil, x)) }

func appendCoord(b []byte, x float64) []byte {
	n := len(b)
	b = strconv.AppendFloat(b, x, 'f', 2, 64)
	for b[len(b)-1] == '0' {
		b = b[:len(b)-1]
	}
	if b[len(b)-1] == '.' {
		b = b[:len(b)-1]
	}
	if string(b[n:]) == "-0" {
		b = append(b[:n], '0')
	}
	return b
}

func hex(c color.Color) string {
	r := color.RGBAModel.Convert(c).(color.RGBA)
	return fmt.Sprintf("#%02x%02x%02x", r.R, r.G, r.B)
}

// escape makes s safe as text and in a quoted attribute.
func escape(s string) string { return escaper.Replace(s) }

var escaper = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&#34;", "'", "&#39;")
