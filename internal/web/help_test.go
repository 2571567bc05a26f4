package web

import (
	"fmt"
	"html/template"
	"maps"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"sort"
	"strings"
	"testing"

	"github.com/chromedp/chromedp/kb"

	"rinsate/docs"
	"rinsate/internal/domain/access"
	"rinsate/internal/present/words"
	"rinsate/internal/store/storetest"
)

// links are the pages that the help names.
func (h help) links() (paths []string) {
	for _, t := range append(slices.Collect(maps.Values(h.topics)), h.cautions) {
		for _, b := range t.Blocks {
			for _, line := range b.Lines {
				for _, s := range line {
					if u, err := url.Parse(s.To); err == nil && s.Kind == asLink {
						paths = append(paths, u.Path)
					}
				}
			}
		}
	}
	slices.Sort(paths)
	return slices.Compact(paths)
}

// Every page that the help names exists.
func TestHelpLeadsSomewhere(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example/rinsate")
	named := b.server.help.links()
	for _, path := range named {
		if _, ok := b.server.pageAt(path); !ok {
			t.Errorf("the help names %s, which is not there", path)
		}
		if topic, ok := strings.CutPrefix(path, "/help/"); ok && b.server.help.topics[topic].Name == "" && topic != "glossary" && topic != "cautions" {
			t.Errorf("the help names the topic %q, which is not there", topic)
		}
	}
	if len(named) < 20 {
		t.Errorf("only %d pages are named", len(named))
	}
	if _, ok := b.server.pageAt("/nowhere"); ok {
		t.Error("a page that is not there has a permission")
	}
}

// A link is one only for whoever may open its page.
func TestHelpLinksByRole(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example/rinsate")
	for _, test := range []struct {
		role access.Role
		want bool
	}{{access.Technician, true}, {access.Lead, true}, {access.Auditor, false}, {access.ProcedureRoom, false}, {nobody, false}} {
		page := b.ask(http.MethodGet, "/rinsate/help/sample-a-scope", test.role).body
		if got := strings.Contains(page, `<a href="/rinsate/bench">bench</a>`); got != test.want || !strings.Contains(page, "bench") {
			t.Errorf("%q: a link to the bench: %v, want %v", test.role, got, test.want)
		}
	}
}

var ids = regexp.MustCompile(`\sid="([^"]*)"`)

// twice lists the ids that a page has more than once.
func twice(page string) (list []string) {
	seen := map[string]bool{}
	for _, m := range ids.FindAllStringSubmatch(page, -1) {
		if seen[m[1]] {
			list = append(list, m[1])
		}
		seen[m[1]] = true
	}
	return list
}

// Every page that has a template is explained by a topic, but for those where nothing is to distract, and
// has each id once.
func TestPagesAreExplained(t *testing.T) {
	t.Parallel()
	walksEverything(t)
	b := newSite(t, storetest.NewClock(), "https://test.example/rinsate")
	if list := twice(`<p id="a"><p id="b"><p id="a">`); !slices.Equal(list, []string{"a"}) {
		t.Errorf("ids that are there twice: %q", list)
	}
	for _, x := range topicOf {
		if _, ok := b.server.help.topics[x.topic]; !ok {
			t.Errorf("%s is explained by %q, which is not there", x.path, x.topic)
		}
	}
	quiet := []string{"ready", "emergency", "wrong", "sign-in", "problem", "help", "help-topic", "help-cautions", "help-glossary"}
	for _, e := range b.examples() {
		page := b.ask(http.MethodGet, "/rinsate"+e.path, e.role).body
		if list := twice(page); list != nil {
			t.Errorf("%s: ids that are there twice: %q", e.name, list)
		}
		got := strings.Contains(page, `class="page-help`)
		want := !slices.Contains(quiet, e.template) && !strings.Contains(e.path, "wall") && e.path != "/password" // and the door
		if got != want && e.template != "problem" {
			t.Errorf("%s: a link to the help: %v, want %v", e.name, got, want)
		}
	}
	for _, path := range []string{"/wall", "/ready/" + readyScope} {
		if strings.Contains(b.ask(http.MethodGet, "/rinsate"+path, access.Lead).body, `class="page-help`) {
			t.Errorf("%s has a link to the help", path)
		}
	}
}

// Every task is for somebody, has steps or says why not, and is found by its title.
func TestTopics(t *testing.T) {
	t.Parallel()
	h, err := loadHelp(words.US)
	if err != nil {
		t.Fatal(err)
	}
	for name, topic := range h.topics {
		if name != hazards && !slices.ContainsFunc(topic.Blocks, func(b block) bool { return b.Kind == asSteps }) { // which is no task
			t.Errorf("%s has no steps", name)
		}
		if len(topic.See) == 0 {
			t.Errorf("%s leads to no other topic", name)
		}
		if found := h.find(topic.Title); len(found) == 0 || found[0].Title != topic.Title {
			t.Errorf("%q is not found first by its title", topic.Title)
		}
	}
	if found := h.find("OPENSSL signature"); len(found) != 1 || found[0].Name != "prove-a-record" {
		t.Errorf("by words of the text: %v", found)
	}
	if found := h.find("words xylophone"); found != nil {
		t.Errorf("by words that are nowhere: %v", found)
	}
	if words := findWords(words.US, "rlu"); len(words) == 0 || words[0].Word != "RLU" {
		t.Errorf("words: %v", words)
	}
}

// The hazards are in the help as the documentation has them, and with them what nothing stands against yet.
func TestHazardsInHelp(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example/rinsate")
	page := b.ask(http.MethodGet, "/rinsate/help/hazards", nobody).body
	numbers := regexp.MustCompile(`(?m)^## (H-[0-9]+) `).FindAllStringSubmatch(docs.Hazards, -1)
	if len(numbers) < 50 {
		t.Fatalf("only %d hazards were read", len(numbers))
	}
	for _, m := range numbers {
		if !strings.Contains(page, `<h2 id="`+m[1]+`">`+m[1]+" ") {
			t.Errorf("%s has no place of its own", m[1])
		}
	}
	if !strings.Contains(page, `<a href="/rinsate/help/hazards#H-26">H-26</a>`) {
		t.Error("a hazard that another one names is no link")
	}
	_, open, ok := strings.Cut(docs.Hazards, "\n# Not controlled yet\n")
	_, shown, heads := strings.Cut(page, "<h2>Not controlled yet</h2>")
	if !ok || !heads {
		t.Fatal("what is not controlled yet is not there")
	}
	lines := 0
	for line := range strings.Lines(open) {
		if text, ok := strings.CutPrefix(strings.TrimSpace(line), "- "); ok {
			lines++
			if first, _, _ := strings.Cut(text, "`"); !strings.Contains(shown, template.HTMLEscapeString(first)) {
				t.Errorf("%q is not shown", text)
			}
		}
	}
	if lines == 0 {
		t.Error("nothing was compared")
	}
	if found := b.server.help.find("residue dried for hours"); len(found) != 1 || found[0].Name != hazards {
		t.Errorf("by words of a hazard: %v", found)
	}
}

// What is wrong with a topic is said.
func TestParseTopic(t *testing.T) {
	t.Parallel()
	good := "# T\n\nFor: x\n\nOne `c`\ntwo **s** [p](/q?r) [on hold](/help/glossary#word-on-hold) [Lots](/help/glossary#word-lot).\n\n" +
		"1. a\nb\n2. c\n\n```sh\nrun `x`\n  or <y>\n```\n\n3. d\n\n- i\n\n> beware\n\n> twice\n\n## H\n\nend \\*\n\n## See also\n\n- [A](a.md)\n- [B b](b.md)\n"
	topic, err := parseTopic("t", good)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, b := range topic.Blocks {
		var text strings.Builder
		fmt.Fprint(&text, b.Kind, b.Start)
		for _, line := range b.Lines {
			text.WriteString("|")
			for _, s := range line {
				fmt.Fprintf(&text, "<%s %s %s>", s.Kind, s.Text, s.To)
			}
		}
		got = append(got, text.String())
	}
	want := []string{
		"paragraph0|<plain One ><code c ><plain  two ><strong s ><plain   ><link p /q?r><plain   ><term on hold on hold><plain   ><term Lots lot><plain . >",
		"steps1|<plain a b >|<plain c >",
		"terminal0|<code run `x` >|<code or <y> >",
		"steps3|<plain d >",
		"items0|<plain i >",
		"caution0|<plain beware >",
		"caution0|<plain twice >",
		"heading0|<plain H >",
		"paragraph0|<plain end * >",
	}
	if !slices.Equal(slices.Collect(squeezed(got)), slices.Collect(squeezed(want))) {
		t.Errorf("blocks:\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if topic.Title != "T" || topic.For != "x" || !slices.Equal(topic.See, []string{"a", "b"}) {
		t.Errorf("%q for %q, see %q", topic.Title, topic.For, topic.See)
	}
	for about, bad := range map[string]string{
		"nothing": "", "no title": "For: x\n\ntext", "not for anybody": "# T\n\ntext", "no text": "# T\n\nFor: x\n", "two titles": "# T\n\nFor: x\n\n# U\n",
		"code without an end": "# T\n\nFor: x\n\na `b", "strong words without an end": "# T\n\nFor: x\n\na **b", "no strong words": "# T\n\nFor: x\n\n****",
		"an unknown word": "# T\n\nFor: x\n\n[a](/help/glossary#word-nosuchword)", "a link elsewhere": "# T\n\nFor: x\n\n[a](b)",
		"a link in two parts":   "# T\n\nFor: x\n\n[a] (/b)",
		"a link without an end": "# T\n\nFor: x\n\n[a](/b", "a host": "# T\n\nFor: x\n\n[a](https://test.example/)",
		"slanted words": "# T\n\nFor: x\n\n*a*", "a code in a link": "# T\n\nFor: x\n\n[`a`](/b)", "an image": "# T\n\nFor: x\n\n![a](/b)",
		"a list within a list": "# T\n\nFor: x\n\n- a\n  - b\n", "text after the end": "# T\n\nFor: x\n\na\n\n## See also\n\n- [A](a.md)\n\nb",
		"no file": "# T\n\nFor: x\n\na\n\n## See also\n\n- [A](a.txt)\n", "no link": "# T\n\nFor: x\n\na\n\n## See also\n\n- A\n",
	} {
		if topic, err := parseTopic("t", bad); err == nil {
			t.Errorf("%s is taken: %+v", about, topic)
		}
	}
	_, err = parseTopic("t", "# T\n\nFor: x\n\ngood\n\nnot `good")
	if err == nil || !strings.HasPrefix(err.Error(), "line 7: ") {
		t.Errorf("the place of a fault is not told: %v", err)
	}
}

// The index names each topic once, as it calls itself, and so do topics that lead to another.
func TestParseIndex(t *testing.T) {
	t.Parallel()
	groups, err := parseIndex([]byte("# Help\n\n## One\n\n- [A](a.md)\n- [B](b.md)\n\n## Two\n\n- [C](c.md)\n"))
	if err != nil || fmt.Sprint(groups) != "[{One [{A a} {B b}]} {Two [{C c}]}]" {
		t.Errorf("%v (%v)", groups, err)
	}
	for _, bad := range []string{"- [A](a.md)\n", "## One\n\ntext\n", "## One\n\n- A\n", "## One\n\n- [A](a.md) and more\n", "## One\n\n- [A](/a)\n"} {
		if groups, err := parseIndex([]byte(bad)); err == nil {
			t.Errorf("%q is taken: %v", bad, groups)
		}
	}
	h, err := loadHelp(words.US)
	if err != nil {
		t.Fatal(err)
	}
	name := h.groups[0].Topics[0].Name
	if err := h.check([]listedGroup{{"One", []fileLink{{"Another title", name}}}}); err == nil || !strings.Contains(err.Error(), "calls itself") {
		t.Errorf("a topic may be called anything: %v", err)
	}
	delete(h.topics, name)
	if err := h.check(nil); err == nil {
		t.Errorf("%s is missing, and nothing says so", name)
	}
}

// squeezed takes runs of spaces for one.
func squeezed(texts []string) func(func(string) bool) {
	return func(yield func(string) bool) {
		for _, t := range texts {
			if !yield(strings.Join(strings.Fields(t), " ")) {
				return
			}
		}
	}
}

// What a topic says is text, whatever it looks like.
func TestHelpIsText(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	topic, err := parseTopic("t", "# <b>T</b>\n\nFor: <i>x</i>\n\n<script>alert(1)</script> `<u>` **<s>** [<a>](/ready)")
	if err != nil {
		t.Fatal(err)
	}
	b.server.help.topics["t"] = topic
	page := b.ask(http.MethodGet, "/help/t", nobody).body
	if regexp.MustCompile(`<(b|i|u|s|a)>|<script>`).MatchString(page) || !strings.Contains(page, "&lt;script&gt;alert(1)&lt;/script&gt;") ||
		!strings.Contains(page, `<a href="/ready">&lt;a&gt;</a>`) {
		t.Errorf("the text is not shown as it is:\n%s", page)
	}
}

// The glossary is in the order of the alphabet, says each word once, and each in a sentence.
func TestGlossary(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, e := range glossary {
		if seen[e.Anchor()] {
			t.Errorf("%q is there twice, or shares its place with another word", e.Word)
		}
		seen[e.Anchor()] = true
		if !strings.HasSuffix(e.Means, ".") && !strings.HasSuffix(e.Means, "?") || strings.HasSuffix(e.Source, ".") {
			t.Errorf("%q: a meaning is a sentence and a source is none: %q, %q", e.Word, e.Means, e.Source)
		}
	}
	if !sort.SliceIsSorted(glossary, func(i, j int) bool {
		return strings.ToLower(glossary[i].Word) < strings.ToLower(glossary[j].Word)
	}) {
		t.Error("the words are not in the order of the alphabet")
	}
	if _, err := termAs(words.US, "no such word", "no such word"); err == nil {
		t.Error("a word that is not there is shown")
	}
	b := newSite(t, storetest.NewClock(), "https://test.example")
	page := b.ask(http.MethodGet, "/help/glossary", nobody).body
	for _, e := range glossary {
		if !strings.Contains(page, `<dt id="word-`+e.Anchor()+`">`) {
			t.Errorf("%q has no place in the glossary", e.Word)
		}
	}
	file := b.ask(http.MethodGet, "/help/glossary?q=elevator&format=csv", access.Auditor)
	if file.status != http.StatusOK || !strings.Contains(file.body, "elevator recess,") || strings.Contains(file.body, "RLU,") {
		t.Errorf("as a file: status %d\n%s", file.status, file.body)
	}
	if got := b.ask(http.MethodGet, "/help/glossary?format=csv", nobody); got.status != http.StatusForbidden {
		t.Errorf("as a file for nobody: status %d", got.status)
	}
}

// Each word that explains itself opens by a click and by the keyboard, and closes by Escape.
func TestTerms(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	tried := map[string]bool{} // a template with a word of it
	p := openPage(t, b.server.Base.String())
	for _, e := range b.examples() {
		var fresh []string
		for _, m := range regexp.MustCompile(`popovertarget="([^"]*)"`).FindAllStringSubmatch(b.ask(http.MethodGet, e.path, e.role).body, -1) {
			if key := e.template + " " + m[1]; !tried[key] {
				tried[key] = true
				fresh = append(fresh, m[1])
			}
		}
		if len(fresh) == 0 {
			continue
		}
		p.cookie(b.server.CookieName(), b.session(asker(e.role, access.Lead)))
		p.open(e.path)
		for i, id := range fresh {
			button := fmt.Sprintf(`[popovertarget=%q]`, id)
			open := fmt.Sprintf(`document.querySelector("#%s:popover-open")`, id)
			if i == 0 { // one by a real click; the others by the keyboard, which is the same for the browser
				p.click(button)
			} else {
				p.wait(fmt.Sprintf(`(document.querySelector(%q).focus(), document.activeElement.matches(%q))`, button, button))
				p.keys("\r")
			}
			p.wait(open)
			if got := p.text("#" + id); got == "" {
				t.Errorf("%s: %s explains nothing", e.name, id)
			}
			p.keys(kb.Escape)
			p.wait("!" + open)
			p.wait(fmt.Sprintf(`document.activeElement.matches(%q)`, button)) // one goes on where one was
		}
		p.wait(fmt.Sprintf(`(document.querySelector('[popovertarget=%q]').focus(), true)`, fresh[0]))
		p.keys("\r")
		p.wait(fmt.Sprintf(`document.querySelector("#%s:popover-open")`, fresh[0]))
		p.keys(kb.Escape)
	}
	if len(tried) < 20 {
		t.Errorf("only %d words on pages explain themselves", len(tried))
	}
}

// asker is the role of an example, and another one where nobody asks: a browser keeps its session.
func asker(role, other access.Role) access.Role {
	if role == nobody {
		return other
	}
	return role
}

// Somebody who does not know looks up a word, opens a task from the page where it is done, and goes back to
// that page by its steps.
func TestHelpInTheBrowser(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	p := openPage(t, b.server.Base.String())
	p.scripts(false)
	signIn(b, p, access.Technician)
	p.open("/today")
	p.click(".page-help a")
	p.waitText("h1", "The morning look at Today")
	p.click("nav.section a") // the list of tasks
	p.waitText("h1", "Help")
	p.fill("#q", "dipped rinsate\r")
	p.waitText("[role=status]", "tasks 1")
	p.click(".topics a")
	p.waitText("h1", "Sample a scope")
	p.click(`.topic a[href="/bench"]`)
	p.waitText("h1", "Bench")
	p.open("/help?q=no-such-word-here")
	p.waitText("[role=status]", "Nothing is found")
}
