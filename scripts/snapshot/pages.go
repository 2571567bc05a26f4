package main

import (
	"cmp"
	"context"
	"crypto/sha256"
	_ "embed"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"

	"rinsate/internal/demo"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
	"rinsate/internal/web"
)

//go:embed addresses.txt
var madeUp string

// origin is where the pages live while they are recorded.
const origin = "http://localhost:8420"

// likeness is an address that an earlier record has, with who asked.
type likeness struct{ who, address string }

// assets is where files are that say how pages look.
const assets = "/static/"

// nobody is who asks without having signed in.
const nobody = "nobody"

// pageArea is how the key of a page begins.
const pageArea = "page "

// addressesOf returns the addresses of an earlier record, as they are called now.
func addressesOf(dir, table string) ([]likeness, error) {
	renamed, err := readRenames(table)
	if err != nil {
		return nil, err
	}
	entries, err := readEntries(dir)
	if err != nil {
		return nil, err
	}
	var list []likeness
	for _, key := range slices.Sorted(maps.Keys(entries)) {
		if rest, ok := strings.CutPrefix(key, pageArea); ok {
			who, address, _ := strings.Cut(rest, " ")
			list = append(list, likeness{who, renamed.apply(address)})
		}
	}
	return list, nil
}

// crawl is what one person finds.
type crawl struct {
	*recorder
	handler http.Handler
	who     string
	cookies []*http.Cookie
	// asked are the addresses that were asked for, as they are written down, count how many there are of each route.
	asked map[string]bool
	count map[string]int
	left  map[string]int
	// reached has the routes that answered with a page.
	reached map[string]bool
	mux     *http.ServeMux
}

// readPages records every page as each person of the hospital, and nobody, sees it.
func (r *recorder) readPages(ctx context.Context, d *desk.Desk) error {
	base, err := url.Parse(origin)
	if err != nil {
		return err
	}
	o := web.Options{Base: base, Clock: r.clock, Demo: true, Wall: true, Door: identity.NewDoor(d.DB, access.Standard)}
	server, err := web.New(d, o) //nolint:contextcheck // each request brings a context of its own
	if err != nil {
		return err
	}
	// Beside the pages this would be done when it comes, and what pages show would hang on when they are asked for.
	if err := server.LookAtSeries(ctx); err != nil {
		return err
	}
	routes := server.Routes()
	mux := http.NewServeMux() // only says to which route an address belongs
	for _, pattern := range routes {
		mux.Handle(pattern, http.NotFoundHandler())
	}
	reached, addresses, entries, left := map[string]bool{}, map[string]bool{}, 0, map[string]int{}
	for _, account := range append([]demo.Account{{Code: nobody}}, demo.Accounts...) {
		c := &crawl{
			recorder: r,
			handler:  server.Handler(),
			who:      account.Code,
			asked:    map[string]bool{},
			count:    map[string]int{},
			left:     map[string]int{},
			reached:  map[string]bool{},
			mux:      mux,
		}
		if account.Code != nobody {
			if err := c.signIn(ctx, account); err != nil {
				return err
			}
		}
		if err := c.walk(ctx); err != nil {
			return err
		}
		maps.Copy(reached, c.reached)
		maps.Copy(addresses, c.asked)
		entries += len(c.asked)
		for pattern, n := range c.left {
			left[pattern] = max(left[pattern], n)
		}
		fmt.Fprintf(r.talk, "pages of %s: %d\n", c.who, len(c.asked))
	}
	fmt.Fprintf(r.talk, "pages: %d entries, %d addresses\n", entries, len(addresses))
	for _, pattern := range slices.Sorted(maps.Keys(left)) {
		fmt.Fprintf(r.talk, "not followed, for one person at most: %s: %d\n", pattern, left[pattern])
	}
	for _, pattern := range routes {
		if strings.HasPrefix(pattern, http.MethodGet+" ") && !reached[pattern] {
			fmt.Fprintf(r.talk, "never answered: %s\n", pattern)
		}
	}
	return nil
}

// signIn signs somebody in as the page does.
func (c *crawl) signIn(ctx context.Context, a demo.Account) error {
	form := url.Values{"code": {a.Code}, "password": {a.Password}}
	q := httptest.NewRequestWithContext(ctx, http.MethodPost, origin+"/sign-in", strings.NewReader(form.Encode()))
	q.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	w := httptest.NewRecorder()
	c.handler.ServeHTTP(w, q)
	answer := w.Result()
	c.cookies = answer.Cookies()
	if err := answer.Body.Close(); err != nil {
		return err
	}
	if len(c.cookies) == 0 {
		return fmt.Errorf("%s cannot sign in: status %d\n%s", a.Code, answer.StatusCode, readPage(w.Body.String()).text)
	}
	return nil
}

// walk asks for the first page, for made-up addresses and those of an earlier record, and for all that these lead to.
func (c *crawl) walk(ctx context.Context) error {
	next := []string{"/"}
	for _, line := range linesOf(madeUp) {
		filled, err := c.fill(line)
		if err != nil {
			return fmt.Errorf("addresses.txt: %w", err)
		}
		next = append(next, filled)
	}
	for _, l := range c.like {
		// What a file is called hangs on its content; pages lead to it.
		if l.who == c.who && !strings.HasPrefix(l.address, assets) && !strings.Contains(l.address, "‹") {
			next = append(next, c.stable.back(l.address))
		}
	}
	for _, address := range next {
		c.count[c.route(address)]++
	}
	for len(next) > 0 {
		var found []string
		for _, address := range next {
			if c.asked[c.stable.text(address)] {
				continue
			}
			c.asked[c.stable.text(address)] = true
			links, err := c.ask(ctx, address)
			if err != nil {
				return fmt.Errorf("%s %s: %w", c.who, address, err)
			}
			found = append(found, links...)
		}
		next = c.choose(found)
	}
	return nil
}

// choose returns what is asked for of the addresses that were found: of each route no more than there is
// room for, and always the same ones, whatever else stands on the pages.
func (c *crawl) choose(found []string) (chosen []string) {
	slices.SortFunc(found, func(a, b string) int { return cmp.Or(strings.Compare(c.lot(a), c.lot(b)), strings.Compare(a, b)) })
	for _, address := range slices.Compact(found) {
		pattern := c.route(address)
		switch {
		case c.asked[c.stable.text(address)] || pattern == "":
		case c.count[pattern] >= c.most:
			c.left[pattern]++
		default:
			c.count[pattern]++
			chosen = append(chosen, address)
		}
	}
	return chosen
}

// lot puts addresses into an order that has nothing to do with how they are sorted, plain ones first.
func (c *crawl) lot(address string) string {
	sum := sha256.Sum256([]byte(c.stable.text(address)))
	_, query, _ := strings.Cut(address, "?")
	return fmt.Sprintf("%t%x", query != "", sum)
}

// route returns the route that answers an address; "" for none.
func (c *crawl) route(address string) string {
	u, err := url.Parse(origin + address)
	if err != nil {
		return ""
	}
	_, pattern := c.mux.Handler(&http.Request{Method: http.MethodGet, URL: u, Host: u.Host})
	return pattern
}

// ask asks for a page, writes it down and returns where it leads.
func (c *crawl) ask(ctx context.Context, address string) (links []string, err error) {
	here, err := url.Parse(origin + address)
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	q := httptest.NewRequestWithContext(ctx, http.MethodGet, here.String(), nil)
	for _, cookie := range c.cookies {
		q.AddCookie(cookie)
	}
	w := &endless{httptest.NewRecorder(), cancel}
	c.handler.ServeHTTP(w, q)
	if w.Code == http.StatusOK {
		c.reached[c.route(address)] = true
	}
	kind, _, _ := strings.Cut(w.Header().Get("Content-Type"), ";")
	head := fmt.Sprintf("status %d %s\n", w.Code, kind)
	if to := w.Header().Get("Location"); to != "" {
		head += "to " + to + "\n"
		links = append(links, to)
	}
	body, source := "", w.Body.String()
	switch {
	case strings.HasPrefix(address, assets): // how it looks, not what it says
	case kind == "text/html" || kind == "image/svg+xml":
		p := readPage(source)
		body, links = p.text, append(links, p.links...)
	case kind == "application/json":
		tidy, ok := tidyJSON(c.stable.text(source), unchanged)
		if !ok {
			return nil, errors.New("the answer is no JSON")
		}
		body = tidy
	case strings.HasPrefix(kind, "text/"):
		body = source
	case strings.HasPrefix(kind, "image/"):
		body = fmt.Sprintf("%x", sha256.Sum256([]byte(source)))[:16]
	}
	for i, link := range links {
		to, err := here.Parse(link)
		links[i] = ""
		if err == nil && to.Scheme == here.Scheme && to.Host == here.Host {
			links[i] = to.RequestURI()
		}
	}
	links = slices.DeleteFunc(links, func(link string) bool { return link == "" })
	return links, c.write(pageArea+c.who+" "+address, head+body)
}

// endless ends an answer that has no end by itself after what it says at once.
type endless struct {
	*httptest.ResponseRecorder
	end func()
}

// Flush ends it.
func (e *endless) Flush() {
	e.ResponseRecorder.Flush()
	e.end()
}
