package kit

import (
	"cmp"
	"net/http"
	"net/url"
	"slices"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
)

// Has says whether there is a page at a path.
func (s *Shell) Has(path string) bool {
	return slices.ContainsFunc(s.Table, func(r Route) bool { return r.Method == http.MethodGet && r.Path == path })
}

// URL returns the address of a page, with the path that the site lives under.
func (s *Shell) URL(path string) string { return s.Prefix + path }

// RouteAt returns the route that a page at a path is served by, and whether there is one.
func (s *Shell) RouteAt(path string) (Route, bool) {
	_, pattern := s.Mux.Handler(&http.Request{Method: http.MethodGet, URL: &url.URL{Path: s.Prefix + path}})
	i := slices.IndexFunc(s.Table, func(r Route) bool { return pattern == r.Method+" "+s.Prefix+r.Path })
	if i < 0 {
		return Route{}, false
	}
	return s.Table[i], true
}

// ScopeHref is the address of a scope's page; tags may hold what addresses may not.
func (s *Shell) ScopeHref(tag string) string { return s.URL("/scopes/" + url.PathEscape(tag)) }

// RecordHref is the address of a record; empty for none.
func (s *Shell) RecordHref(id string) string {
	if id == "" {
		return ""
	}
	return s.URL("/records/" + id)
}

// SignalHref is the address of the page of a signal.
func (s *Shell) SignalHref(id ledger.ID) string { return s.URL("/signals/" + string(id)) }

// LevelHref is the address of the page of a level.
func (s *Shell) LevelHref(id string) string { return s.URL("/levels/" + url.PathEscape(id)) }

// MeterHref is the address of the page of a meter.
func (s *Shell) MeterHref(code string) string { return s.URL("/meters/" + url.PathEscape(code)) }

// SeriesHref is the page of a series.
func (s *Shell) SeriesHref(k trend.Key) string {
	return s.URL("/trends/"+url.PathEscape(k.Scope)+"/"+string(k.Point)) + "?" + url.Values{"system": {k.System}, "kit": {k.Kit}}.Encode()
}

// CycleHref is where the page of a scope shows the cycle of an instant.
func (s *Shell) CycleHref(tag string, at unit.Instant) string {
	return s.ScopeHref(tag) + "?before=" + url.QueryEscape((at + 1).String()) + "#earlier"
}

// Onward returns the address of a page when it is served here, and "" when it is not, so that no link leads
// nowhere.
func (s *Shell) Onward(path string, q url.Values) string {
	if len(q) > 0 {
		path += "?" + q.Encode()
	}
	address := s.URL(path)
	to, err := url.Parse(address)
	if err != nil {
		return ""
	}
	if _, pattern := s.Mux.Handler(&http.Request{Method: http.MethodGet, URL: to}); pattern == "" || pattern == http.MethodGet+" "+s.Prefix+"/" {
		return ""
	}
	return address
}

// TrendHref leads from a scope in a statistic to its series at a point, or, where no point was chosen, to
// all of its series; to the scope where trends are not served.
func (s *Shell) TrendHref(tag string, point scope.PointKind, q url.Values) string {
	if point != "" {
		return cmp.Or(s.Onward("/trends/"+url.PathEscape(tag)+"/"+url.PathEscape(string(point)), q), s.ScopeHref(tag))
	}
	return cmp.Or(s.Onward("/trends", url.Values{"scope": {tag}}), s.ScopeHref(tag))
}

// RecordsOf leads to the records of a lot, a meter or a person: field is which.
func (s *Shell) RecordsOf(field, value string) string {
	return s.Onward("/records", url.Values{field: {value}})
}

// SearchHref is where the records with a value are; empty for whoever may not search.
func (x *Exchange) SearchHref(field, value string) string {
	if value == "" || !x.May(access.SeeRecords) {
		return ""
	}
	return x.Shell.URL("/records?" + url.Values{field: {value}}.Encode())
}

// LinkTo returns the address of a page that whoever asks may open, and empty when there is none.
func (x *Exchange) LinkTo(path string) string {
	for _, r := range x.Shell.Table {
		if r.Path == path && r.Method == http.MethodGet && x.Opens(r) {
			return x.Shell.URL(path)
		}
	}
	return ""
}

// RecordLink is the address of a record for whoever may open it, and empty for others.
func (x *Exchange) RecordLink(id string) string {
	if !x.May(access.SeeScope) {
		return ""
	}
	return x.Shell.RecordHref(id)
}
