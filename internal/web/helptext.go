package web

import (
	"bufio"
	"fmt"
	"io/fs"
	"path"
	"strconv"
	"strings"
)

// topic is one page of the help, as its file says it. The text of a file is plain, a line says what it is
// by how it begins:
//
//	# Title              once, at the top
//	For: whoever does it
//	See: topic, topic
//	## Heading
//	1. step              lines that follow belong to it until an empty one or the next step
//	- item
//	! caution
//	$ command            a line of a terminal
//	anything else        a paragraph, until an empty line
//
// Within a line `code`, **strong**, [words](/page) and {word} or {shown|word} of the glossary are known;
// there is nothing else, and no HTML.
type topic struct {
	Name, Title, For string
	// See are the names of topics that go on from here.
	See    []string
	Blocks []block
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

// loadHelp reads the topics in the order of the file index.txt. What is wrong with them is an error.
func loadHelp() (help, error) {
	h := help{topics: map[string]topic{}}
	index, err := fs.ReadFile(sources(), "help/index.txt")
	if err != nil {
		return h, err
	}
	for line := range strings.Lines(string(index)) {
		line = strings.TrimSpace(line)
		if title, ok := strings.CutPrefix(line, "## "); ok {
			h.groups = append(h.groups, helpGroup{Title: title})
			continue
		}
		if line == "" {
			continue
		}
		if len(h.groups) == 0 {
			return h, fmt.Errorf("help/index.txt: %q stands before the first group", line)
		}
		t, err := readTopic(line)
		if err != nil {
			return h, err
		}
		if _, twice := h.topics[line]; twice {
			return h, fmt.Errorf("help/index.txt names %q twice", line)
		}
		h.topics[line] = t
		last := &h.groups[len(h.groups)-1]
		last.Topics = append(last.Topics, t)
	}
	if h.cautions, err = readTopic("cautions"); err != nil {
		return h, err
	}
	return h, h.check()
}

// check refuses files that the index does not name, and references to what does not exist.
func (h help) check() error {
	entries, err := fs.ReadDir(sources(), "help")
	if err != nil {
		return err
	}
	for _, e := range entries {
		name, isTopic := strings.CutSuffix(e.Name(), ".txt")
		if _, ok := h.topics[name]; !isTopic || !ok && name != "index" && name != "cautions" {
			return fmt.Errorf("help/index.txt does not name %s", e.Name())
		}
	}
	for _, t := range h.topics {
		for _, name := range t.See {
			if _, ok := h.topics[name]; !ok {
				return fmt.Errorf("help/%s.txt: there is no topic %q to see", t.Name, name)
			}
		}
	}
	return nil
}

func readTopic(name string) (topic, error) {
	text, err := fs.ReadFile(sources(), path.Join("help", name+".txt"))
	if err != nil {
		return topic{}, err
	}
	t, err := parseTopic(name, string(text))
	if err != nil {
		return topic{}, fmt.Errorf("help/%s.txt: %w", name, err)
	}
	return t, nil
}

// parseTopic reads the text of a topic.
func parseTopic(name, text string) (topic, error) {
	t := topic{Name: name}
	open := false // whether the next line may go on with the last block
	lines := bufio.NewScanner(strings.NewReader(text))
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(lines.Text())
		if line == "" {
			open = false
			continue
		}
		kind, rest, number := kindOf(line)
		switch kind {
		case "title":
			t.Title = rest
			continue
		case "for":
			t.For = rest
			continue
		case "see":
			for s := range strings.SplitSeq(rest, ",") {
				t.See = append(t.See, strings.TrimSpace(s))
			}
			continue
		}
		spans, err := t.parseLine(blockKind(kind), rest)
		if err != nil {
			return t, fmt.Errorf("line %d: %w", n, err)
		}
		t.add(block{Kind: blockKind(kind), Lines: [][]span{spans}, Start: number}, open)
		open = blockKind(kind) != asHeading
	}
	if t.Title == "" || t.For == "" || len(t.Blocks) == 0 {
		return t, fmt.Errorf("it needs a title, a line %q and a text", "For:")
	}
	return t, lines.Err()
}

// parseLine reads a line of a block; a terminal shows it as it is.
func (t topic) parseLine(kind blockKind, rest string) ([]span, error) {
	if kind == asTerminal {
		return []span{{Kind: asCode, Text: rest}}, nil
	}
	return parseSpans(rest)
}

// add puts a block of one line where it belongs: a line without a mark goes on with what stands before it,
// and a step or an item with its list.
func (t *topic) add(b block, open bool) {
	if len(t.Blocks) == 0 {
		t.Blocks = append(t.Blocks, b)
		return
	}
	last := &t.Blocks[len(t.Blocks)-1]
	switch {
	case open && b.Kind == asParagraph && last.Kind != asTerminal:
		end := len(last.Lines) - 1
		last.Lines[end] = append(append(last.Lines[end], span{Kind: asText, Text: " "}), b.Lines[0]...)
	case b.Kind == last.Kind && (b.Kind == asSteps || b.Kind == asItems || b.Kind == asTerminal && open):
		last.Lines = append(last.Lines, b.Lines...)
	default:
		t.Blocks = append(t.Blocks, b)
	}
}

// kindOf says what a line is, by how it begins, and the number of a step.
func kindOf(line string) (kind, rest string, number int) {
	for _, m := range []struct{ mark, kind string }{
		{"# ", "title"},
		{"For: ", "for"},
		{"See: ", "see"},
		{"## ", string(asHeading)},
		{"- ", string(asItems)},
		{"! ", string(asCaution)},
		{"$ ", string(asTerminal)},
	} {
		if rest, ok := strings.CutPrefix(line, m.mark); ok {
			return m.kind, rest, 0
		}
	}
	if before, rest, ok := strings.Cut(line, ". "); ok {
		if number, err := strconv.Atoi(before); err == nil {
			return string(asSteps), rest, number
		}
	}
	return string(asParagraph), line, 0
}

// inline are the marks within a line and what stands between them.
var inline = []struct {
	begin, end string
	span       func(text string) (span, error)
}{
	{"`", "`", func(text string) (span, error) { return span{Kind: asCode, Text: text}, nil }},
	{"**", "**", func(text string) (span, error) { return span{Kind: asStrong, Text: text}, nil }},
	{"{", "}", func(text string) (span, error) {
		shown, word, ok := strings.Cut(text, "|")
		if !ok {
			word = shown
		}
		if _, ok := explained(word); !ok {
			return span{}, fmt.Errorf("the glossary does not explain %q", word)
		}
		return span{Kind: asTerm, Text: shown, To: word}, nil
	}},
	{"[", ")", func(text string) (span, error) {
		shown, to, ok := strings.Cut(text, "](")
		if !ok || !strings.HasPrefix(to, "/") {
			return span{}, fmt.Errorf("[%s) is no link to a page", text)
		}
		return span{Kind: asLink, Text: shown, To: to}, nil
	}},
}

// parseSpans reads what stands in a line.
func parseSpans(text string) ([]span, error) {
	var spans []span
	for text != "" {
		first, mark := len(text), -1
		for i, m := range inline {
			if at := strings.Index(text, m.begin); at >= 0 && at < first {
				first, mark = at, i
			}
		}
		if first > 0 {
			spans = append(spans, span{Kind: asText, Text: text[:first]})
		}
		if mark < 0 {
			break
		}
		m := inline[mark]
		within, rest, ok := strings.Cut(text[first+len(m.begin):], m.end)
		if !ok || within == "" {
			return nil, fmt.Errorf("%q begins and does not end", m.begin)
		}
		s, err := m.span(within)
		if err != nil {
			return nil, err
		}
		spans, text = append(spans, s), rest
	}
	return spans, nil
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
