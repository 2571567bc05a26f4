package kit

import (
	"net"
	"net/http"
	"net/netip"
	"strings"
)

// hostShape is what a further name of the server looks like.
const hostShape = "a name or an address without a scheme, port or path, such as pc-7.example"

// HostFault says what is wrong with a further name of the server, empty when a browser can ask for it.
func HostFault(name string) string {
	if name == "" || strings.ContainsAny(name, "/:@*?# \t") && !literal(name) {
		return hostShape
	}
	return ""
}

// answersTo says whether a request names this server. A page of somebody else whose name was made to lead here (DNS
// rebinding) is, to its browser, of the same origin as these pages, so that nothing else tells the two apart; it cannot
// change the name that the browser sends. Asked for by an address of numbers there was no name that somebody could have
// moved, wherever a proxy or a forwarded port has led the request. Ports are not compared: a proxy has another one.
func (s *Shell) answersTo(host string) bool {
	name := hostname(host)
	return name != "" && (name == hostname(s.Base.Host) || s.hosts[name] || name == "localhost" || strings.HasSuffix(name, ".localhost") || literal(name))
}

// hostname is the name in a Host header as names are compared: without its port, the point of the root and brackets.
func hostname(host string) string {
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	host = strings.TrimSuffix(strings.TrimPrefix(host, "["), "]")
	return strings.ToLower(strings.TrimSuffix(host, "."))
}

// literal says whether a name is an address of numbers.
func literal(name string) bool {
	_, err := netip.ParseAddr(name)
	return err == nil
}

// named refuses what was asked for under a name that is none of this server's, before anything else is looked at.
func (s *Shell) named(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !s.answersTo(r.Host) {
			x := &Exchange{Shell: s, W: w, R: r, Data: r.Header.Get("Accept") == "application/json"}
			x.Fail(&PageError{
				Status: http.StatusMisdirectedRequest, Message: "These pages are not served under this name.",
				Hint: "Nothing was stored. Open " + s.Base.String() + ". Should this name be right as well, whoever cares for the program " +
					"starts it with --host and the name.",
			})
			return
		}
		next.ServeHTTP(w, r)
	})
}
