package chart

import (
	"math"
	"slices"
)

// box is a rectangle, left ≤ right and top ≤ bottom.
type box struct{ left, top, right, bottom float64 }

func (b box) width() float64  { return b.right - b.left }
func (b box) height() float64 { return b.bottom - b.top }

func (b box) meets(o box) bool {
	return b.left < o.right && o.left < b.right && b.top < o.bottom && o.top < b.bottom
}

func (b box) within(o box) bool {
	return b.left >= o.left && b.right <= o.right && b.top >= o.top && b.bottom <= o.bottom
}

func (b box) grown(by float64) box {
	return box{b.left - by, b.top - by, b.right + by, b.bottom + by}
}

// around returns the box of a mark.
func around(p Point, r float64) box { return box{p.X - r, p.Y - r, p.X + r, p.Y + r} }

// crossed says whether the segment from p to q touches the box.
//
// Source: Y.-D. Liang & B. A. Barsky, ACM Trans Graph 1984;3:1-22.
func (b box) crossed(p, q Point) bool {
	enter, leave := 0.0, 1.0
	for _, edge := range [4][2]float64{
		{p.X - q.X, p.X - b.left},
		{q.X - p.X, b.right - p.X},
		{p.Y - q.Y, p.Y - b.top},
		{q.Y - p.Y, b.bottom - p.Y},
	} {
		switch {
		case edge[0] == 0:
			if edge[1] < 0 {
				return false
			}
		case edge[0] < 0:
			enter = max(enter, edge[1]/edge[0])
		default:
			leave = min(leave, edge[1]/edge[0])
		}
	}
	return enter <= leave
}

// placer remembers what is taken, in columns, so that a question looks only at neighbours.
type placer struct {
	bounds  box
	columns map[int][]box
}

const placerColumn = 32.0

func newPlacer(bounds box) *placer { return &placer{bounds: bounds, columns: map[int][]box{}} }

func (p *placer) take(b box) {
	for c := int(b.left / placerColumn); c <= int(b.right/placerColumn); c++ {
		p.columns[c] = append(p.columns[c], b)
	}
}

func (p *placer) free(b box) bool {
	if !b.within(p.bounds) {
		return false
	}
	for c := int(b.left / placerColumn); c <= int(b.right/placerColumn); c++ {
		if slices.ContainsFunc(p.columns[c], b.meets) {
			return false
		}
	}
	return true
}

// Distances between a mark and its text: touching, and with room for a leader.
var (
	closeBy = [...]float64{3, 8}
	further = [...]float64{3, 8, 16, 26}
)

// label writes a text beside a mark of radius r, at the first of the distances at which it meets
// nothing that is taken. Where there is none it may lie over what only p took, if crossable is not
// nil; where there is none either, the text is left to the tooltip and the table.
func (p *placer) label(cv Canvas, crossable *placer, mark Point, r float64, s TextStyle, text string, below bool, distances []float64) {
	if text == "" {
		return
	}
	for _, in := range []*placer{p, crossable} {
		if in == nil {
			continue
		}
		for _, gap := range distances {
			at, set, ok := in.beside(mark, r+gap, s, text, below)
			if !ok {
				continue
			}
			b := textBox(set, at, text)
			p.take(b)
			if crossable != nil {
				crossable.take(b)
			}
			if gap > closeBy[1] {
				end := Point{min(max(mark.X, b.left), b.right), min(max(mark.Y, b.top), b.bottom)}
				out := r / max(r, math.Hypot(end.X-mark.X, end.Y-mark.Y))
				from := Point{mark.X + out*(end.X-mark.X), mark.Y + out*(end.Y-mark.Y)}
				cv.Line(Style{Stroke: InkAxis, Width: 0.7}, from, end)
			}
			cv.Text(set, at, text)
			return
		}
	}
}

// beside finds a free place for a text at a distance from a mark: above, below, right, left and
// then on the diagonals.
func (p *placer) beside(mark Point, d float64, s TextStyle, text string, below bool) (Point, TextStyle, bool) {
	type candidate struct {
		at     Point
		anchor Anchor
	}
	candidates := [...]candidate{
		{Point{mark.X, mark.Y - d}, Middle},
		{Point{mark.X, mark.Y + d + 0.75*s.Size}, Middle},
		{Point{mark.X + d, mark.Y + 0.35*s.Size}, Start},
		{Point{mark.X - d, mark.Y + 0.35*s.Size}, End},
		{Point{mark.X + d, mark.Y - d}, Start},
		{Point{mark.X - d, mark.Y - d}, End},
		{Point{mark.X + d, mark.Y + d + 0.5*s.Size}, Start},
		{Point{mark.X - d, mark.Y + d + 0.5*s.Size}, End},
	}
	if below {
		candidates[0], candidates[1] = candidates[1], candidates[0]
	}
	for _, c := range candidates {
		s.Anchor = c.anchor
		if p.free(textBox(s, c.at, text)) {
			return c.at, s, true
		}
	}
	return Point{}, s, false
}

// spread moves centres in one dimension so that neighbours are at least gap apart and all lie from
// lo to hi, each as near to where it wants to be as its group allows. It returns the new centres in
// the order given. What has no room (more than (hi−lo)/gap + 1) is NaN, the last first.
func spread(wanted []float64, gap, lo, hi float64) []float64 {
	got := make([]float64, len(wanted))
	for i := range got {
		got[i] = math.NaN()
	}
	room := int((hi-lo)/gap) + 1
	if !(hi >= lo) {
		room = 0
	}
	order := make([]int, 0, len(wanted))
	for i := range wanted {
		if len(order) < room {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case wanted[a] < wanted[b]:
			return -1
		case wanted[a] > wanted[b]:
			return 1
		}
		return 0
	})
	// Groups of touching labels stand about the mean of what they want: the pool-adjacent-violators
	// algorithm on wanted − i·gap.
	type group struct {
		sum   float64
		count int
	}
	var groups []group
	for i, o := range order {
		groups = append(groups, group{min(max(wanted[o], lo), hi) - float64(i)*gap, 1})
		for n := len(groups); n > 1; n = len(groups) {
			a, b := groups[n-2], groups[n-1]
			if a.sum/float64(a.count) < b.sum/float64(b.count) {
				break
			}
			groups = append(groups[:n-2], group{a.sum + b.sum, a.count + b.count})
		}
	}
	top := hi - float64(len(order)-1)*gap
	i := 0
	for _, g := range groups {
		base := min(max(g.sum/float64(g.count), lo), top)
		for range g.count {
			got[order[i]] = base + float64(i)*gap
			i++
		}
	}
	return got
}
