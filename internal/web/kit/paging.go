package kit

import (
	"net/http"
	"net/url"
	"strconv"

	"rinsate/internal/base/unit"
)

// Pager is where a page of a long list stands in it.
type Pager struct {
	// First and Last number the lines that are shown, from 1; Of is how many there are.
	First, Last, Of int
	// Earlier and Later are the addresses of the pages before and after this one, empty at the ends.
	Earlier, Later string
}

// Paged reads which page of a list of n lines is asked for (?page=, from 1) and returns the part of the
// list that it holds. A page behind the end is the last one.
func (x *Exchange) Paged(n, size int) (lo, hi int, p Pager, err error) {
	page := 1
	if text := x.R.URL.Query().Get("page"); text != "" {
		if page, err = strconv.Atoi(text); err != nil || page < 1 {
			return 0, 0, p, &PageError{Status: http.StatusBadRequest, Message: "There is no page " + text + ".", Hint: "Pages are numbered from 1."}
		}
	}
	pages := max(1, (n+size-1)/size)
	page = min(page, pages)
	lo, hi = (page-1)*size, min(n, page*size)
	p = Pager{First: min(lo+1, n), Last: hi, Of: n}
	if page > 1 {
		p.Earlier = x.With("page", strconv.Itoa(page-1))
	}
	if page < pages {
		p.Later = x.With("page", strconv.Itoa(page+1))
	}
	return lo, hi, p, nil
}

// With returns the address of this page with one field of its query changed, or taken out when the value
// is empty.
func (x *Exchange) With(field, value string) string {
	q := x.R.URL.Query()
	q.Del("done")
	if q.Set(field, value); value == "" {
		q.Del(field)
	}
	return AddressOf(x.R.URL.EscapedPath(), q)
}

// AddressOf is a path with a query, where there is one.
func AddressOf(path string, q url.Values) string {
	if text := q.Encode(); text != "" {
		return path + "?" + text
	}
	return path
}

// Day reads a day of the facility's zone from the query: its begin and its end, both zero when it is not
// given.
func (x *Exchange) Day(field string) (from, to unit.Instant, err error) {
	text := x.R.URL.Query().Get(field)
	if text == "" {
		return 0, 0, nil
	}
	begin, err := x.Shell.Instant(text + "T00:00")
	if err != nil {
		return 0, 0, &PageError{
			Status:  http.StatusBadRequest,
			Message: "This is no day: " + text + ".",
			Hint:    "Write it like " + x.Shell.Present()[:len("2006-01-02")] + ".",
		}
	}
	return begin, begin.AddDays(1, x.Shell.Desk.DB.Zone()), nil
}
