package chart

// Canvas is what a picture is drawn on. Coordinates are pixels from the upper left corner and must
// be finite.
type Canvas interface {
	Line(s Style, a, b Point)
	Polyline(s Style, points []Point)
	Polygon(s Style, points []Point)
	Rect(s Style, x, y, width, height float64)
	Marker(s Style, shape Shape, at Point, radius float64)
	Text(s TextStyle, at Point, text string) // at is on the baseline

	// Clip shows only the part of what draw draws that lies within the rectangle.
	Clip(x, y, width, height float64, draw func())

	// Link makes what draw draws one thing to point at, with a tooltip and, unless href is empty or
	// not safe to follow (see [SafeHref]), a way to a page.
	Link(title, href string, draw func())
}

// Point is a place on a canvas.
type Point struct{ X, Y float64 }

// Style says how a shape is drawn. No ink, no paint.
type Style struct {
	Stroke, Fill Ink
	Width        float64
	Dash         Dash
}

// TextStyle says how text is set. A Halo in the colour of the paper keeps it legible over lines.
// Rotate is in degrees, counter-clockwise about the anchor.
type TextStyle struct {
	Ink    Ink
	Size   float64
	Bold   bool
	Anchor Anchor
	Rotate float64
	Halo   bool
}

// Anchor says which part of a text stands at its place.
type Anchor uint8

// The anchors.
const (
	Start Anchor = iota
	Middle
	End
)

// Dash is the pattern of a line: what tells lines apart without colour.
type Dash uint8

// The patterns.
const (
	Solid Dash = iota
	Dashed
	Dotted
	DashDot
)

// lengths returns strokes and gaps in pixels; nil is solid.
func (d Dash) lengths() []float64 {
	switch d {
	case Solid:
		return nil
	case Dashed:
		return []float64{5, 3}
	case Dotted:
		return []float64{1.5, 2.5}
	case DashDot:
		return []float64{7, 2.5, 1.5, 2.5}
	}
	return nil
}

// Shape is the form of a marker: what tells points apart without colour.
type Shape uint8

// The shapes.
const (
	Circle Shape = iota
	Diamond
	Square
	TriangleUp
	TriangleDown
	TriangleLeft
	TriangleRight
	Cross
)

// outline returns the corners of the shape about a place, nil for a circle. Sizes are balanced so
// that all shapes of one radius look equally large.
func (s Shape) outline(at Point, r float64) []Point {
	turn := func(corners ...float64) []Point {
		points := make([]Point, 0, len(corners)/2)
		for i := 0; i+1 < len(corners); i += 2 {
			points = append(points, Point{at.X + r*corners[i], at.Y + r*corners[i+1]})
		}
		return points
	}
	switch s {
	case Circle:
		return nil
	case Diamond:
		return turn(0, -1.25, 1.25, 0, 0, 1.25, -1.25, 0)
	case Square:
		return turn(-0.9, -0.9, 0.9, -0.9, 0.9, 0.9, -0.9, 0.9)
	case TriangleUp:
		return turn(0, -1.2, 1.1, 0.8, -1.1, 0.8)
	case TriangleDown:
		return turn(0, 1.2, 1.1, -0.8, -1.1, -0.8)
	case TriangleLeft:
		return turn(-1.2, 0, 0.8, -1.1, 0.8, 1.1)
	case TriangleRight:
		return turn(1.2, 0, -0.8, -1.1, -0.8, 1.1)
	case Cross:
		const arm, waist = 0.95, 0.55 // the ends of the bars, and where they meet
		return turn(0, -waist, arm-waist, -arm, arm, waist-arm, waist, 0, arm, arm-waist, arm-waist, arm,
			0, waist, waist-arm, arm, -arm, arm-waist, -waist, 0, -arm, waist-arm, waist-arm, -arm)
	}
	return nil
}
