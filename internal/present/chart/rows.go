package chart

import "slices"

// rowItem is a text above a plot with a line that goes down from it.
type rowItem struct {
	from, to float64 // what the text covers
	stem     float64 // where the line is
	stemmed  bool
	leftward bool // the text stands left of its line
}

func (a rowItem) meets(b rowItem) bool { return a.from < b.to+4 && b.from < a.to+4 }

// cuts says whether the line of a, from above, goes through the text of b.
func (a rowItem) cuts(b rowItem) bool { return a.stemmed && a.stem > b.from-2 && a.stem < b.to+2 }

// arrange gives each item, in the order of their lines, a row counted from below, so that no two
// texts touch, and no line cuts a text where that can be had: from right to left each takes the
// lowest row it can, because texts right of their lines are passed on the left. Texts left of their
// lines come last. It returns how many rows there are.
func arrange(items []rowItem) (rows []int, count int) {
	order := make([]int, 0, len(items))
	for i := range slices.Backward(items) {
		if !items[i].leftward {
			order = append(order, i)
		}
	}
	for i := range items {
		if items[i].leftward {
			order = append(order, i)
		}
	}
	rows = make([]int, len(items))
	for n, i := range order {
		rows[i] = -1
		for _, strict := range []bool{true, false} {
			for row := 0; row <= count && rows[i] < 0; row++ {
				if hasRoom(items, rows, order[:n], i, row, strict) {
					rows[i] = row
				}
			}
		}
		count = max(count, rows[i]+1)
	}
	return rows, count
}

// hasRoom says whether item i can stand in a row beside those placed; strictly, without a line
// through a text.
func hasRoom(items []rowItem, rows, placed []int, i, row int, strict bool) bool {
	for _, j := range placed {
		switch {
		case rows[j] == row && items[i].meets(items[j]):
			return false
		case strict && rows[j] > row && items[j].cuts(items[i]):
			return false
		case strict && rows[j] < row && items[i].cuts(items[j]):
			return false
		}
	}
	return true
}
