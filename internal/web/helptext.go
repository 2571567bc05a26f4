package web

import (
	"bytes"
	"fmt"
	"io/fs"
	"path"
	"regexp"
	"slices"
	"strings"

	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/parser"
	"github.com/yuin/goldmark/text"
	"github.com/yuin/goldmark/util"

	"rinsate/docs"
	"rinsate/internal/present/words"
)

// topic is one page of the help, as its file of Markdown (CommonMark) says it. A file begins with
//
//	# Title
//
//	For: whoever does it
//
// and may end with the section "See also", a list of links to other files. Between them stand paragraphs,
// headings (##), steps (1.), items (-), cautions (>), and lines of a terminal (```). Within a line there are
// `code`, **strong**, and [words](/page); a link to a place in the glossary, such as
// [shown](/help/glossary#word-hold), is a word that explains itself. There is no HTML: a < is a <.
//
// The topic of the hazards is a page of the documentation (hazardsText).
//
// What Markdown takes for text but looks like a mark that is broken, or is of a kind that is not named here,
// is an error and keeps the program from starting.
type topic struct {
	Name, Title, For string
	// See are the names of topics that go on from here.
	See    []string
	Blocks []block
	// see are those with what the file calls them.
	see []fileLink
}

// block is a paragraph or a list.
type block struct {
	Kind  blockKind
	Lines [][]span
	// Start is the number of the first step: what stands between two steps begins a new list.
	Start int
}

type blockKind string

// The kinds of blocks; an ordered list is one block with a line for each step.
const (
	asParagraph blockKind = "paragraph"
	asHeading   blockKind = "heading"
	asSteps     blockKind = "steps"
	asItems     blockKind = "items"
	asCaution   blockKind = "caution"
	asTerminal  blockKind = "terminal"
)

// span is a run of text within a line.
type span struct {
	Kind spanKind
	Text string
	// To is the page that a link leads to, or the glossary's word of a term.
	To string
}

type spanKind string

// The kinds of spans.
const (
	asText   spanKind = "plain"
	asCode   spanKind = "code"
	asStrong spanKind = "strong"
	asLink   spanKind = "link"
	asTerm   spanKind = "term"
)

// help is everything that the help holds.
type help struct {
	groups []helpGroup
	topics map[string]topic
	// cautions is the page with all of them.
	cautions topic
}

// helpGroup are the topics of people who do the same work, in their order.
type helpGroup struct {
	Title  string
	Topics []topic
}

// loadHelp reads the topics in the order of index.md. What is wrong with them is an error.
func loadHelp(t words.Terms) (help, error) {
	h := help{topics: map[string]topic{}}
	index, err := fs.ReadFile(sources(), "help/index.md")
	if err != nil {
		return h, err
	}
	listed, err := parseIndex([]byte(t.Sentence(string(index))))
	if err != nil {
		return h, fmt.Errorf("help/index.md: %w", err)
	}
	for _, g := range listed {
		group := helpGroup{Title: g.title}
		for _, named := range g.links {
			topic, err := readTopic(t, named.name)
			if err != nil {
				return h, err
			}
			if _, twice := h.topics[named.name]; twice {
				return h, fmt.Errorf("help/index.md names %q twice", named.name)
			}
			h.topics[named.name] = topic
			group.Topics = append(group.Topics, topic)
		}
		h.groups = append(h.groups, group)
	}
	if h.cautions, err = readTopic(t, "cautions"); err != nil {
		return h, err
	}
	return h, h.check(listed)
}

// check refuses files that the index does not name, references to what does not exist, and those that call a
// topic otherwise than it calls itself.
func (h help) check(index []listedGroup) error {
	entries, err := fs.ReadDir(sources(), "help")
	if err != nil {
		return err
	}
	for _, e := range entries {
		name, isTopic := strings.CutSuffix(e.Name(), ".md")
		if _, ok := h.topics[name]; !isTopic || !ok && name != "index" && name != "cautions" {
			return fmt.Errorf("help/index.md does not name %s", e.Name())
		}
	}
	called := func(file string, links []fileLink) error {
		for _, l := range links {
			switch t, ok := h.topics[l.name]; {
			case !ok:
				return fmt.Errorf("help/%s.md: there is no topic %q to see", file, l.name)
			case t.Title != l.text:
				return fmt.Errorf("help/%s.md calls %s.md %q, which calls itself %q", file, l.name, l.text, t.Title)
			}
		}
		return nil
	}
	for _, g := range index {
		if err := called("index", g.links); err != nil {
			return err
		}
	}
	for _, t := range h.topics {
		if err := called(t.Name, t.see); err != nil {
			return err
		}
	}
	return nil
}

// hazards is the topic that is a page of the documentation.
const hazards = "hazards"

// hazardNumber is how a hazard is named in the texts of others.
var hazardNumber = regexp.MustCompile(`\bH-[0-9]+\b`)

// hazardsText makes a topic of docs/hazards.md: it says for whom it is and where to go on, the title of what nothing
// stands against yet is a heading, and a hazard that another one names is a link.
func hazardsText() string {
	var b strings.Builder
	for i, line := range strings.Split(strings.TrimSpace(docs.Hazards), "\n") {
		switch {
		case i == 0:
			line += "\n\nFor: whoever answers for the release of scopes, and whoever checks that"
		case strings.HasPrefix(line, "# "):
			line = "#" + line
		case !strings.HasPrefix(line, "## "):
			line = hazardNumber.ReplaceAllString(line, "[$0](/help/"+hazards+"#$0)")
		}
		b.WriteString(line + "\n")
	}
	b.WriteString("\n## " + seeAlso + `

- [May this scope be used?](read-the-release-check.md)
- [Lift a hold](lift-a-hold.md)
- [Prove records to an auditor](prove-a-record.md)
`)
	return b.String()
}

func topicText(name string) (string, error) {
	if name == hazards {
		return hazardsText(), nil
	}
	text, err := fs.ReadFile(sources(), path.Join("help", name+".md"))
	return string(text), err
}

func readTopic(terms words.Terms, name string) (topic, error) {
	text, err := topicText(name)
	if err != nil {
		return topic{}, err
	}
	t, err := parseTopic(name, terms.Sentence(text))
	if err != nil {
		return topic{}, fmt.Errorf("help/%s.md: %w", name, err)
	}
	return t, nil
}

// markdown reads the marks that topics may use and no others: neither HTML nor indented code.
var markdown = parser.NewParser(
	parser.WithBlockParsers(
		util.Prioritized(parser.NewListParser(), 300),
		util.Prioritized(parser.NewListItemParser(), 400),
		util.Prioritized(parser.NewATXHeadingParser(), 600),
		util.Prioritized(parser.NewFencedCodeBlockParser(), 700),
		util.Prioritized(parser.NewBlockquoteParser(), 800),
		util.Prioritized(parser.NewParagraphParser(), 1000),
	),
	parser.WithInlineParsers(
		util.Prioritized(parser.NewCodeSpanParser(), 100),
		util.Prioritized(parser.NewLinkParser(), 200),
		util.Prioritized(parser.NewEmphasisParser(), 500),
	),
)

// helpSource is the text of a file that is being read.
type helpSource struct{ source []byte }

func (r helpSource) blocks() ast.Node { return markdown.Parse(text.NewReader(r.source)) }

// fault says where something is wrong.
func (r helpSource) fault(n ast.Node, format string, args ...any) error {
	for ; n != nil; n = n.Parent() {
		if n.Type() == ast.TypeBlock && n.Lines().Len() > 0 {
			before := r.source[:n.Lines().At(0).Start]
			return fmt.Errorf("line %d: %w", bytes.Count(before, []byte("\n"))+1, fmt.Errorf(format, args...))
		}
	}
	return fmt.Errorf(format, args...)
}

// listedGroup is a group of the index, and fileLink a link to another file.
type (
	listedGroup struct {
		title string
		links []fileLink
	}
	fileLink struct{ text, name string }
)

// parseIndex reads the groups: a heading and a list of links each.
func parseIndex(source []byte) (groups []listedGroup, err error) {
	r := helpSource{source}
	for n := r.blocks().FirstChild(); n != nil; n = n.NextSibling() {
		switch h, isHeading := n.(*ast.Heading); {
		case isHeading && h.Level == 1 && n.PreviousSibling() == nil:
		case isHeading && h.Level == 2:
			title, err := r.plain(n)
			if err != nil {
				return nil, err
			}
			groups = append(groups, listedGroup{title: title})
		case n.Kind() == ast.KindList && len(groups) > 0 && groups[len(groups)-1].links == nil:
			if groups[len(groups)-1].links, err = r.links(n); err != nil {
				return nil, err
			}
		default:
			return nil, r.fault(n, "an index has a heading and a list of topics for each group")
		}
	}
	return groups, nil
}

// parseTopic reads the text of a topic.
func parseTopic(name, source string) (topic, error) {
	t := topic{Name: name}
	r := helpSource{[]byte(source)}
	seen := false // the section of other topics
	for n := r.blocks().FirstChild(); n != nil; n = n.NextSibling() {
		heading, isHeading := n.(*ast.Heading)
		var err error
		switch {
		case seen && t.see == nil && n.Kind() == ast.KindList:
			t.see, err = r.links(n)
			for _, l := range t.see {
				t.See = append(t.See, l.name)
			}
		case seen:
			err = r.fault(n, "after %q there is one list of topics and nothing else", seeAlso)
		case t.Title == "":
			if !isHeading || heading.Level != 1 {
				return t, r.fault(n, "a topic begins with its title")
			}
			t.Title, err = r.plain(n)
		case t.For == "":
			var line string
			if line, err = r.plain(n); err == nil {
				who, ok := strings.CutPrefix(line, "For: ")
				if !ok || n.Kind() != ast.KindParagraph {
					err = r.fault(n, "after the title a line %q says whom it is for", "For:")
				}
				t.For = who
			}
		case isHeading && string(heading.Lines().Value(r.source)) == seeAlso:
			seen = true
		default:
			var b block
			if b, err = r.block(n); err == nil {
				t.Blocks = append(t.Blocks, b)
			}
		}
		if err != nil {
			return t, err
		}
	}
	if t.Title == "" || t.For == "" || len(t.Blocks) == 0 {
		return t, fmt.Errorf("it needs a title, a line %q and a text", "For:")
	}
	return t, nil
}

// seeAlso is the heading above the topics that go on from here.
const seeAlso = "See also"

// block reads one block.
func (r helpSource) block(n ast.Node) (block, error) {
	switch n := n.(type) {
	case *ast.Heading:
		if n.Level != 2 {
			return block{}, r.fault(n, "a heading within a topic has two #")
		}
		return r.line(asHeading, n)
	case *ast.Paragraph:
		return r.line(asParagraph, n)
	case *ast.Blockquote:
		only := n.FirstChild()
		if only == nil || n.ChildCount() != 1 || only.Kind() != ast.KindParagraph {
			return block{}, r.fault(n, "a caution is one paragraph")
		}
		return r.line(asCaution, only)
	case *ast.FencedCodeBlock:
		b := block{Kind: asTerminal}
		for _, line := range n.Lines().Sliced(0, n.Lines().Len()) {
			b.Lines = append(b.Lines, []span{{Kind: asCode, Text: strings.TrimRight(string(line.Value(r.source)), "\n")}})
		}
		return b, nil
	case *ast.List:
		b := block{Kind: asItems}
		if n.IsOrdered() {
			b.Kind, b.Start = asSteps, n.Start
		}
		for item := n.FirstChild(); item != nil; item = item.NextSibling() {
			if item.ChildCount() != 1 || item.FirstChild().Kind() != ast.KindTextBlock && item.FirstChild().Kind() != ast.KindParagraph {
				return b, r.fault(item, "a step or an item is one paragraph; what follows begins at the left")
			}
			spans, err := r.spans(item.FirstChild())
			if err != nil {
				return b, err
			}
			b.Lines = append(b.Lines, spans)
		}
		return b, nil
	}
	return block{}, r.fault(n, "the help has no %s", n.Kind())
}

// line reads a block of one line.
func (r helpSource) line(kind blockKind, n ast.Node) (block, error) {
	spans, err := r.spans(n)
	return block{Kind: kind, Lines: [][]span{spans}}, err
}

// links reads a list of links to other files, each an item of its own.
func (r helpSource) links(list ast.Node) (links []fileLink, err error) {
	for item := list.FirstChild(); item != nil; item = item.NextSibling() {
		var link *ast.Link
		if item.ChildCount() == 1 && item.FirstChild().ChildCount() == 1 {
			link, _ = item.FirstChild().FirstChild().(*ast.Link)
		}
		if link == nil {
			return nil, r.fault(item, "an item of this list is a link to a topic and nothing else")
		}
		called, err := r.plain(link)
		if err != nil {
			return nil, err
		}
		name, ok := strings.CutSuffix(string(link.Destination), ".md")
		if !ok {
			return nil, r.fault(item, "%q is no file of the help", link.Destination)
		}
		links = append(links, fileLink{called, name})
	}
	return links, nil
}

// plain reads what holds nothing but text.
func (r helpSource) plain(n ast.Node) (string, error) {
	spans, err := r.spans(n)
	if err != nil {
		return "", err
	}
	if len(spans) != 1 || spans[0].Kind != asText {
		return "", r.fault(n, "here stands plain text")
	}
	return spans[0].Text, nil
}

// spans reads what stands in a line. A line that goes on in the next one of the file goes on after a space.
func (r helpSource) spans(n ast.Node) (spans []span, err error) {
	for c := n.FirstChild(); c != nil; c = c.NextSibling() {
		var s span
		switch c := c.(type) {
		case *ast.Text:
			s = span{Kind: asText, Text: string(util.UnescapePunctuations(c.Segment.Value(r.source)))}
			if at := brokenMark(string(c.Segment.Value(r.source))); at != "" {
				return nil, r.fault(n, "%q begins and does not end, or ends and did not begin", at)
			}
			if c.HardLineBreak() {
				return nil, r.fault(n, "a line is not broken within a paragraph")
			}
			if c.SoftLineBreak() {
				s.Text += " "
			}
			if last := len(spans) - 1; last >= 0 && spans[last].Kind == asText {
				spans[last].Text += s.Text
				continue
			}
		case *ast.CodeSpan:
			s = span{Kind: asCode}
			for t := c.FirstChild(); t != nil; t = t.NextSibling() {
				if part, ok := t.(*ast.Text); ok { // code holds text alone
					s.Text += string(part.Segment.Value(r.source))
				}
			}
		case *ast.Emphasis:
			s.Kind = asStrong
			if s.Text, err = r.plain(c); err == nil && c.Level != 2 {
				err = r.fault(n, "the help knows **strong** words and no others")
			}
		case *ast.Link:
			if s.Text, err = r.plain(c); err == nil {
				s, err = r.link(c, s.Text)
			}
		default:
			err = r.fault(n, "the help has no %s", c.Kind())
		}
		if err != nil {
			return nil, err
		}
		spans = append(spans, s)
	}
	return spans, nil
}

// link reads a link to a page, or to a word of the glossary.
func (r helpSource) link(n *ast.Link, shown string) (span, error) {
	to := string(n.Destination)
	if place, ok := strings.CutPrefix(to, "/help/glossary#word-"); ok {
		i := slices.IndexFunc(glossary, func(e entry) bool { return e.Anchor() == place })
		if i < 0 {
			return span{}, r.fault(n, "the glossary does not explain %q", place)
		}
		return span{Kind: asTerm, Text: shown, To: glossary[i].Word}, nil
	}
	if !strings.HasPrefix(to, "/") || n.Title != nil {
		return span{}, r.fault(n, "[%s](%s) is no link to a page", shown, to)
	}
	return span{Kind: asLink, Text: shown, To: to}, nil
}

// brokenMark returns a mark that Markdown took for text, since its other half is missing. One that is meant
// as text has a backslash before it.
func brokenMark(raw string) string {
	for i := 0; i < len(raw); i++ {
		if raw[i] == '\\' {
			i++
		} else if strings.IndexByte("`*[]", raw[i]) >= 0 {
			return raw[i : i+1]
		}
	}
	return ""
}

// words is the text of a topic without its marks, for the search.
func (t topic) words() string {
	var b strings.Builder
	for _, bl := range t.Blocks {
		for _, line := range bl.Lines {
			for _, s := range line {
				b.WriteString(s.Text)
			}
			b.WriteByte(' ')
		}
	}
	return b.String()
}
