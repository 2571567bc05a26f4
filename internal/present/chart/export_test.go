package chart

import "time"

// What the tests look at from inside.

var (
	Arrange    = arrangeSpans
	Clean      = clean
	Fit        = fit
	LogTicks   = logTicks
	NiceTicks  = niceTicks
	Number     = number
	Spread     = spread
	TextWidth  = textWidth
	Wrap       = wrap
	CurveStyle = curveStyle
)

const (
	Slack     = slack
	SlackBold = slackBold
	SizeTick  = sizeTick
	ThinAbove = thinAbove
)

// Box is a rectangle.
type Box struct{ Left, Top, Right, Bottom float64 }

// TextBox returns what a text covers.
func TextBox(s TextStyle, at Point, text string) Box {
	b := textBox(s, at, text)
	return Box{b.left, b.top, b.right, b.bottom}
}

// Regular and SemiBold are the embedded fonts.
func Regular() []byte  { return interRegular() }
func SemiBold() []byte { return interSemiBold() }

// Colours returns the name of each ink with its colours on light and dark paper.
func Colours() map[string][2]string {
	colours := map[string][2]string{}
	for i := InkPaper; i < inkCount; i++ {
		p := i.paint()
		colours[p.name] = [2]string{p.light, p.dark}
	}
	return colours
}

// Tick is a labelled place on an axis.
type Tick struct {
	At           float64
	Label, Below string
}

// TimeTicks returns the ticks of a time axis of 1000 pixels.
func TimeTicks(from, to time.Time, location *time.Location, most int) []Tick {
	r := timeRuler{domain: span{seconds(from), seconds(to)}, from: 0, to: 1000, location: location}
	var ticks []Tick
	for _, t := range r.ticks(most) {
		ticks = append(ticks, Tick{t.at, t.label, t.below})
	}
	return ticks
}

// RowItem is a text with a line that goes down from it.
type RowItem struct {
	From, To, Stem    float64
	Stemmed, Leftward bool
}

func arrangeSpans(items []RowItem) (rows []int, count int) {
	inner := make([]rowItem, len(items))
	for i, it := range items {
		inner[i] = rowItem{it.From, it.To, it.Stem, it.Stemmed, it.Leftward}
	}
	return arrange(inner)
}

// FaceWidth returns the advance of a character in a TrueType font, as a fraction of its size.
func FaceWidth(ttf []byte, r rune) (float64, bool) {
	w, ok := parseFace(ttf)[r]
	return w, ok
}
