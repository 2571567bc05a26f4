package web

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

// has says whether there is a page at a path.
func (s *shell) has(path string) bool {
	return slices.ContainsFunc(s.routes, func(r route) bool { return r.method == http.MethodGet && r.path == path })
}

// url returns the address of a page, with the path that the site lives under.
func (s *shell) url(path string) string { return s.prefix + path }

// routeAt returns the route that a page at a path is served by, and whether there is one.
func (s *shell) routeAt(path string) (route, bool) {
	_, pattern := s.mux.Handler(&http.Request{Method: http.MethodGet, URL: &url.URL{Path: s.prefix + path}})
	i := slices.IndexFunc(s.routes, func(r route) bool { return pattern == r.method+" "+s.prefix+r.path })
	if i < 0 {
		return route{}, false
	}
	return s.routes[i], true
}

// scopeHref is the address of a scope's page; tags may hold what addresses may not.
func (s *shell) scopeHref(tag string) string { return s.url("/scopes/" + url.PathEscape(tag)) }

func (s *shell) recordHref(id string) string {
	if id == "" {
		return ""
	}
	return s.url("/records/" + id)
}

func (s *shell) alarmHref(id ledger.ID) string { return s.url("/alarms/" + string(id)) }

// levelHref is the address of the page of a level.
func (s *shell) levelHref(id string) string { return s.url("/levels/" + url.PathEscape(id)) }

func (s *shell) meterHref(code string) string { return s.url("/meters/" + url.PathEscape(code)) }

// streamHref is the page of a stream.
func (s *shell) streamHref(k trend.Key) string {
	return s.url("/trends/"+url.PathEscape(k.Scope)+"/"+string(k.Point)) + "?" + url.Values{"system": {k.System}, "kit": {k.Kit}}.Encode()
}

// tripHref is where the page of a scope shows the turnaround of an instant.
func (s *shell) tripHref(tag string, at unit.Instant) string {
	return s.scopeHref(tag) + "?before=" + url.QueryEscape((at + 1).String()) + "#earlier"
}

// onward returns the address of a page when it is served here, and "" when it is not, so that no link leads
// nowhere.
func (s *shell) onward(path string, q url.Values) string {
	if len(q) > 0 {
		path += "?" + q.Encode()
	}
	address := s.url(path)
	to, err := url.Parse(address)
	if err != nil {
		return ""
	}
	if _, pattern := s.mux.Handler(&http.Request{Method: http.MethodGet, URL: to}); pattern == "" || pattern == http.MethodGet+" "+s.prefix+"/" {
		return ""
	}
	return address
}

// trendHref leads from a scope in a statistic to its stream at a point, or, where no point was chosen, to
// all of its streams; to the scope where trends are not served.
func (s *shell) trendHref(tag string, point scope.PointKind, q url.Values) string {
	if point != "" {
		return cmp.Or(s.onward("/trends/"+url.PathEscape(tag)+"/"+url.PathEscape(string(point)), q), s.scopeHref(tag))
	}
	return cmp.Or(s.onward("/trends", url.Values{"scope": {tag}}), s.scopeHref(tag))
}

// recordsOf leads to the records of a lot, a meter or a person: field is which.
func (s *shell) recordsOf(field, value string) string {
	return s.onward("/records", url.Values{field: {value}})
}

// searchHref is where the records with a value are; empty for whoever may not search.
func (x *exchange) searchHref(field, value string) string {
	if value == "" || !x.may(access.SeeRecords) {
		return ""
	}
	return x.s.url("/records?" + url.Values{field: {value}}.Encode())
}

// linkTo returns the address of a page that whoever asks may open, and empty when there is none.
func (x *exchange) linkTo(path string) string {
	for _, r := range x.s.routes {
		if r.path == path && r.method == http.MethodGet && x.may(r.need) {
			return x.s.url(path)
		}
	}
	return ""
}

// recordLink is the address of a record for whoever may open it, and empty for others.
func (x *exchange) recordLink(id string) string {
	if !x.may(access.SeeScope) {
		return ""
	}
	return x.s.recordHref(id)
}
