package web

import (
	"cmp"
	"net/http"
	"net/url"

	"rinsate/internal/domain/scope"
)

// onward returns the address of a page when it is served here, and "" when it is not, so that no link leads
// nowhere.
func (s *Server) onward(path string, q url.Values) string {
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
func (s *Server) trendHref(tag string, point scope.PointKind, q url.Values) string {
	if point != "" {
		return cmp.Or(s.onward("/trends/"+url.PathEscape(tag)+"/"+url.PathEscape(string(point)), q), s.scopeHref(tag))
	}
	return cmp.Or(s.onward("/trends", url.Values{"scope": {tag}}), s.scopeHref(tag))
}

// recordsOf leads to the records of a lot, a meter or a person: field is which.
func (s *Server) recordsOf(field, value string) string {
	return s.onward("/records", url.Values{field: {value}})
}
