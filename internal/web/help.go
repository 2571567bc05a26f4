package web

import (
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

// helpPage is the list of topics, or what was found for some words.
type helpPage struct {
	Q      string
	Groups []topicGroup
	// Found are the topics and Words the entries of the glossary that were looked for.
	Found []topicLine
	Words []glossed
}

type topicGroup struct {
	Title  string
	Topics []topicLine
}

// topicLine is a topic in a list.
type topicLine struct{ Href, Title, For string }

// topicPage is one topic as somebody reads it.
type topicPage struct {
	Title, For string
	Blocks     []shownBlock
	See        []topicLine
}

// shownBlock is a block for a reader: links to pages that the reader may not open are plain text.
type shownBlock struct {
	Kind  blockKind
	Lines [][]shownSpan
	Start int
	// ID is where a hazard is found by its number.
	ID string
}

type shownSpan struct {
	Kind       spanKind
	Text, Href string
	// Term is a word that explains itself.
	Term template.HTML
}

func (s *Server) topicLine(t topic) topicLine {
	return topicLine{s.URL("/help/" + t.Name), t.Title, t.For}
}

// helpList answers with all topics, or with what was found.
func (s *Server) helpList(x *kit.Exchange) error {
	page := helpPage{Q: strings.TrimSpace(x.R.URL.Query().Get("q"))}
	for _, g := range s.help.groups {
		shown := topicGroup{Title: g.Title}
		for _, t := range g.Topics {
			shown.Topics = append(shown.Topics, s.topicLine(t))
		}
		page.Groups = append(page.Groups, shown)
	}
	if page.Q != "" {
		for _, t := range s.help.find(page.Q) {
			page.Found = append(page.Found, s.topicLine(t))
		}
		page.Words = findWords(s.Terms, page.Q)
	}
	return x.Show(http.StatusOK, "help", false, page)
}

// find returns the topics in which every word of q stands, those first that have them in the title.
func (h help) find(q string) []topic {
	var titled, others []topic
	for _, g := range h.groups {
		for _, t := range g.Topics {
			switch {
			case holdsAll(t.Title, q):
				titled = append(titled, t)
			case holdsAll(t.Title+" "+t.For+" "+t.words(), q):
				others = append(others, t)
			}
		}
	}
	return append(titled, others...)
}

// findWords returns the entries of the glossary in which every word of q stands.
func findWords(t words.Terms, q string) []glossed {
	var found, others []glossed
	for _, e := range glossaryIn(t) {
		switch {
		case holdsAll(e.Word, q):
			found = append(found, e)
		case holdsAll(e.Word+" "+e.Means, q):
			others = append(others, e)
		}
	}
	return append(found, others...)
}

// holdsAll says whether a text holds every word of q, in any case of letters.
func holdsAll(text, q string) bool {
	text = strings.ToLower(text)
	for word := range strings.FieldsSeq(strings.ToLower(q)) {
		if !strings.Contains(text, word) {
			return false
		}
	}
	return true
}

// helpTopic answers with one topic.
func (s *Server) helpTopic(x *kit.Exchange) error {
	t, ok := s.help.topics[x.R.PathValue("topic")]
	if !ok {
		return &kit.PageError{Status: http.StatusNotFound, Message: "There is no such page of the help.", Hint: "Look for it in the list of tasks."}
	}
	page, err := s.readTopic(x, t)
	if err != nil {
		return err
	}
	for _, name := range t.See {
		page.See = append(page.See, s.topicLine(s.help.topics[name]))
	}
	return x.Show(http.StatusOK, "help-topic", false, page)
}

// helpCautions answers with what every decision has to be read with.
func (s *Server) helpCautions(x *kit.Exchange) error {
	page, err := s.readTopic(x, s.help.cautions)
	if err != nil {
		return err
	}
	return x.Show(http.StatusOK, "help-cautions", false, page)
}

// readTopic makes a topic fit for whoever asks.
func (s *Server) readTopic(x *kit.Exchange, t topic) (topicPage, error) {
	page := topicPage{Title: t.Title, For: t.For}
	var told []string // each word explains itself once on a page
	for _, b := range t.Blocks {
		shown := shownBlock{Kind: b.Kind, Start: b.Start}
		if b.Kind == asHeading {
			shown.ID = hazardNumber.FindString(b.Lines[0][0].Text)
		}
		for _, line := range b.Lines {
			var spans []shownSpan
			for _, part := range line {
				to := shownSpan{Kind: part.Kind, Text: part.Text}
				switch {
				case part.Kind == asLink:
					to.Href = s.pageHref(x, part.To)
				case part.Kind == asTerm && !slices.Contains(told, part.To):
					told = append(told, part.To)
					var err error
					if to.Term, err = termAs(s.Terms, part.To, part.Text); err != nil {
						return page, err
					}
				}
				spans = append(spans, to)
			}
			shown.Lines = append(shown.Lines, spans)
		}
		page.Blocks = append(page.Blocks, shown)
	}
	return page, nil
}

// pageHref is the address of a page when there is one and whoever asks may open it; empty otherwise.
func (s *Server) pageHref(x *kit.Exchange, to string) string {
	u, err := url.Parse(to)
	if err != nil {
		return ""
	}
	r, ok := s.pageAt(u.Path)
	if !ok || !x.Opens(r) {
		return ""
	}
	return s.URL(to)
}

// pageAt returns the page at a path, and whether there is one: a page of its own, not one of a scope or a
// record that would have that name.
func (s *Server) pageAt(path string) (kit.Route, bool) {
	r, ok := s.RouteAt(path)
	return r, ok && (r.Path == path || strings.HasPrefix(path, "/help/")) // others are not named by it
}

// topicOf names the topic for the pages under a path, the most particular one first.
var topicOf = []struct{ path, topic string }{
	{"/today", "look-at-today"},
	{emergenciesPath, "emergency-use"},
	{paperPath, "computer-down"},
	{clockPath, "compare-the-clock"},
	{attestPath, "attest"},
	{restoredPath, "after-a-restore"},
	{firstDayPath, "first-day"},
	{"/scopes", "look-at-a-scope"},
	{"/bench", "sample-a-scope"},
	{"/trends", "read-a-control-chart"},
	{"/failures", "read-a-control-chart"},
	{"/signals", "look-into-a-signal"},
	{"/levels", "derive-and-adopt-a-level"},
	{"/meters/compare", "compare-lots-and-meters"},
	{"/meters/study", "compare-lots-and-meters"},
	{"/meters", "check-a-meter"},
	{"/variation", "sources-of-variation"},
	{"/comparison", "sources-of-variation"},
	{"/records", "prove-a-record"},
	{"/patients", "patients-numbers"},
	{"/import", "set-up-from-nothing"},
	{"/imports", "set-up-from-nothing"},
	{"/set-up/rules", "edit-the-rules"},
	{"/set-up", "set-up-from-nothing"},
	{"/people", "people-and-passwords"},
	{"/account", "people-and-passwords"},
}

// helpHref is where the page that is asked for is explained; empty where nothing is to distract, as on the
// release check and on a wall, and in the help itself.
func (s *Server) helpHref(x *kit.Exchange) string {
	path := strings.TrimPrefix(x.R.URL.Path, s.Prefix)
	if path == "/" {
		path = "/today"
	}
	if x.R.URL.Query().Has("wall") {
		return ""
	}
	for _, t := range topicOf {
		if path == t.path || strings.HasPrefix(path, t.path+"/") {
			return s.URL("/help/" + t.topic)
		}
	}
	return ""
}

// glossaryPage is the list of words.
type glossaryPage struct {
	Q       string
	Of      int
	Words   []glossed
	Exports kit.Exports
}

// helpGlossary answers with the words of the trade and of this program.
func (s *Server) helpGlossary(x *kit.Exchange) error {
	page := glossaryPage{Q: strings.TrimSpace(x.R.URL.Query().Get("q")), Of: len(glossary), Words: glossaryIn(s.Terms), Exports: x.Exports()}
	if page.Q != "" {
		page.Words = findWords(s.Terms, page.Q)
	}
	wanted, err := x.WantsFile()
	if err != nil {
		return err
	}
	if !wanted {
		return x.Show(http.StatusOK, "help-glossary", false, page)
	}
	l := kit.Listing{Name: "words", Columns: []table.SheetColumn{{Name: "word"}, {Name: "means"}, {Name: "source"}}}
	for _, e := range page.Words {
		l.Rows = append(l.Rows, []string{e.Word, e.Means, e.Source})
	}
	return x.File(l)
}
