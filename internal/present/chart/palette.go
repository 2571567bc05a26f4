package chart

import (
	"fmt"
	"strings"
)

// Ink is a colour by its use, so that one drawing serves light and dark paper.
type Ink uint8

// The inks. What an ink says is always said by a shape, a pattern or a word as well.
const (
	InkNone Ink = iota
	InkPaper
	InkText
	InkMuted       // text of second rank
	InkGrid        // decoration only
	InkAxis        // axes, ticks, leaders
	InkData        // points and the first curve
	InkSecond      // second curve
	InkThird       // third curve
	InkFourth      // fourth curve
	InkLimit       // limits and centre lines
	InkSignal      // marks of signals
	InkSignalText  // their numbers
	InkAlert       // alert levels
	InkAction      // action levels
	InkShade       // background of a baseline, bars
	InkChangeShade // background of the interval in which a change began
	inkCount
)

// paint is an ink's name in the style sheet and its colour on light and on dark paper.
type paint struct{ name, light, dark string }

// paint starts from the eight colours that stay distinct with the common kinds of colour
// blindness (M. Okabe & K. Ito, Color Universal Design, 2008), darkened or lightened where one would
// not reach a contrast of 3 to 1 (marks) or 4.5 to 1 (text) against its paper and the two shades
// (WCAG 2.2, success criteria 1.4.3 and 1.4.11).
func (i Ink) paint() paint {
	switch i {
	case InkNone, inkCount:
		return paint{"none", "none", "none"}
	case InkPaper:
		return paint{"paper", "#ffffff", "#15181c"}
	case InkText:
		return paint{"text", "#1d2126", "#e8eaed"}
	case InkMuted:
		return paint{"muted", "#595f66", "#a9b0b8"}
	case InkGrid:
		return paint{"grid", "#e4e7ea", "#2a2f36"}
	case InkAxis:
		return paint{"axis", "#7b828a", "#878f98"}
	case InkData:
		return paint{"data", "#0072b2", "#56b4e9"}
	case InkSecond:
		return paint{"second", "#b34f00", "#e69f00"}
	case InkThird:
		return paint{"third", "#007f5c", "#2fc09a"}
	case InkFourth:
		return paint{"fourth", "#a2477c", "#d98fb9"}
	case InkLimit:
		return paint{"limit", "#595f66", "#a9b0b8"}
	case InkSignal:
		return paint{"signal", "#d55e00", "#e8731a"}
	case InkSignalText:
		return paint{"signal-text", "#a84a00", "#f29a52"}
	case InkAlert:
		return paint{"alert", "#9a6a00", "#e69f00"}
	case InkAction:
		return paint{"action", "#c05000", "#e8731a"}
	case InkShade:
		return paint{"shade", "#eef2f6", "#20262d"}
	case InkChangeShade:
		return paint{"change-shade", "#fdf0e0", "#33281b"}
	}
	return paint{"none", "none", "none"}
}

// fontFamily is named and not embedded in SVG: the page serves the font or the next one is taken.
const fontFamily = "Inter, 'DejaVu Sans', system-ui, sans-serif"

// Stylesheet returns the rules for pictures within a page: colours as custom properties that follow
// the page's color-scheme, size, focus and the table twin. Browsers without light-dark() show the
// light colours. Put it into a style sheet file, so that a strict content security policy holds.
func Stylesheet() string {
	var light, both, classes strings.Builder
	for i := InkPaper; i < inkCount; i++ {
		p := i.paint()
		fmt.Fprintf(&light, "--ch-%s:%s;", p.name, p.light)
		fmt.Fprintf(&both, "--ch-%s:light-dark(%s,%s);", p.name, p.light, p.dark)
		fmt.Fprintf(&classes, ".ch-f-%s{fill:var(--ch-%s)}\n.ch-s-%s{stroke:var(--ch-%s)}\n", p.name, p.name, p.name, p.name)
	}
	return ".ch{" + light.String() + "display:block;width:100%;height:auto}\n" +
		"@supports (color:light-dark(#000,#fff)){.ch{" + both.String() + "}}\n" +
		"@media print{.ch{color-scheme:light}}\n" +
		classes.String() +
		".ch-spark{display:inline-block;width:7.5em;height:1.5em;vertical-align:middle}\n" +
		".ch a:focus{outline:none}\n" +
		".ch a:hover :not(title,text),.ch a:focus-visible :not(title,text){stroke:var(--ch-text);stroke-width:3}\n" +
		".ch-table{border-collapse:collapse;font-variant-numeric:tabular-nums}\n" +
		".ch-table caption{text-align:start}\n" +
		".ch-table th,.ch-table td{padding:.15em .6em;text-align:start}\n"
}

// darkRules is the style element of a picture that is a file of its own. The light colours are the
// attributes of the shapes, which any rule overrides.
func darkRules() string {
	var b strings.Builder
	b.WriteString("@media (prefers-color-scheme:dark){")
	for i := InkPaper; i < inkCount; i++ {
		p := i.paint()
		fmt.Fprintf(&b, ".ch-f-%s{fill:%s}.ch-s-%s{stroke:%s}", p.name, p.dark, p.name, p.dark)
	}
	b.WriteString("}")
	return b.String()
}
