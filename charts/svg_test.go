package charts_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"

	"ripetide/charts"
)

// node is an element of a parsed SVG.
type node struct {
	name     string
	attr     map[string]string
	text     string
	children []*node
}

// parse reads an SVG strictly.
func parse(tb testing.TB, svg []byte) *node {
	tb.Helper()
	d := xml.NewDecoder(bytes.NewReader(svg))
	root := &node{}
	stack := []*node{root}
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			tb.Fatalf("not well-formed: %v", err)
		}
		top := stack[len(stack)-1]
		switch e := tok.(type) {
		case xml.StartElement:
			n := &node{name: e.Name.Local, attr: map[string]string{}}
			for _, a := range e.Attr {
				n.attr[a.Name.Local] = a.Value
			}
			top.children = append(top.children, n)
			stack = append(stack, n)
		case xml.EndElement:
			stack = stack[:len(stack)-1]
		case xml.CharData:
			top.text += string(e)
		}
	}
	if len(root.children) != 1 || root.children[0].name != "svg" {
		tb.Fatal("the root is not one svg element")
	}
	return root.children[0]
}

// chart is what all charts have in common.
type chart interface {
	Title() string
	Description() string
	Validate() error
	WriteSVG(w io.Writer, opt charts.Options) error
	WritePNG(w io.Writer, opt charts.Options) error
}

func render(tb testing.TB, c chart, o charts.Options) (*node, []byte) {
	tb.Helper()
	var b bytes.Buffer
	if err := c.WriteSVG(&b, o); err != nil {
		tb.Fatal(err)
	}
	return parse(tb, b.Bytes()), b.Bytes()
}

// find returns all elements for which ok holds, in document order.
func (n *node) find(ok func(*node) bool) []*node {
	var out []*node
	if ok(n) {
		out = append(out, n)
	}
	for _, c := range n.children {
		out = append(out, c.find(ok)...)
	}
	return out
}

// class returns the groups of a class.
func (n *node) class(name string) []*node {
	return n.find(func(n *node) bool { return n.name == "g" && n.attr["class"] == name })
}

func (n *node) texts() []*node { return n.find(func(n *node) bool { return n.name == "text" }) }

// filled returns the paths with a fill.
func (n *node) filled(hex string) []*node {
	return n.find(func(n *node) bool { return n.name == "path" && n.attr["fill"] == hex })
}

func (n *node) num(tb testing.TB, attr string) float64 {
	tb.Helper()
	v, err := strconv.ParseFloat(n.attr[attr], 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		tb.Fatalf("%s %s=%q is not a number", n.name, attr, n.attr[attr])
	}
	return v
}

// box is a rectangle, y downwards.
type box struct{ x0, y0, x1, y1 float64 }

func (b box) width() float64 { return b.x1 - b.x0 }

func (b box) overlaps(c box) bool {
	const slack = 0.3
	return b.x0+slack < c.x1 && c.x0+slack < b.x1 && b.y0+slack < c.y1 && c.y0+slack < b.y1
}

// textBox is the place of a text, from its planned width and the heights of
// capitals and descenders.
func textBox(tb testing.TB, n *node) box {
	tb.Helper()
	x, y, size := n.num(tb, "x"), n.num(tb, "y"), n.num(tb, "font-size")
	return box{x, y - 0.75*size, x + n.num(tb, "textLength"), y + 0.21*size}
}

// boxes returns the bounds of each closed part of a path.
func boxes(tb testing.TB, path *node) []box {
	tb.Helper()
	var out []box
	cur := box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	x, y := 0.0, 0.0
	d := path.attr["d"]
	for d != "" {
		op := d[0]
		end := strings.IndexAny(d[1:], "MLHVAZ") + 1
		if end == 0 {
			end = len(d)
		}
		var v []float64
		for _, f := range strings.FieldsFunc(d[1:end], func(r rune) bool { return r == ' ' || r == ',' }) {
			n, err := strconv.ParseFloat(f, 64)
			if err != nil {
				tb.Fatalf("path %q: %v", d[:end], err)
			}
			v = append(v, n)
		}
		switch op {
		case 'M', 'L':
			x, y = v[0], v[1]
		case 'H':
			x = v[0]
		case 'V':
			y = v[0]
		case 'A': // Always half a circle here; its middle lies beside the chord.
			nx, ny := v[5], v[6]
			far := 0.5
			if v[4] != 0 {
				far = -0.5
			}
			mx, my := (x+nx)/2-far*(ny-y), (y+ny)/2+far*(nx-x)
			cur = box{min(cur.x0, mx), min(cur.y0, my), max(cur.x1, mx), max(cur.y1, my)}
			x, y = nx, ny
		case 'Z':
			out = append(out, cur)
			cur = box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
		default:
			tb.Fatalf("path command %q", op)
		}
		if op != 'Z' {
			cur = box{min(cur.x0, x), min(cur.y0, y), max(cur.x1, x), max(cur.y1, y)}
		}
		d = d[end:]
	}
	if !math.IsInf(cur.x0, 0) {
		out = append(out, cur)
	}
	return out
}

// bounds is the union of boxes.
func bounds(bs ...box) box {
	u := box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for _, b := range bs {
		u = box{min(u.x0, b.x0), min(u.y0, b.y0), max(u.x1, b.x1), max(u.y1, b.y1)}
	}
	return u
}
