package web

import (
	"fmt"
	"maps"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/text"
	"rinsate/internal/desk"
	rulebook "rinsate/internal/domain/policy"
	"rinsate/internal/present/words"
	"rinsate/internal/record"
	"rinsate/internal/web/kit"
)

// rulesForm is a rule set that is being changed: as a form for what is usually changed, or as its text.
type rulesForm struct {
	Cite, Base, Problem string
	Back, Preview       string
	Edit, TextHref      string
	Groups              []kit.Group
	Text                string
	Faults              []faultLine
	Conflict            *conflict
}

// faultLine is what is wrong in the text, with the line.
type faultLine struct {
	rulebook.Fault
	Words string
}

// rulesLimit bounds a form with a rule set: its text, in which every character may take three.
const rulesLimit = 4 * rulebook.MaxSize

// ground is what a new edition is made from: an edition, or the rule set to start from when there is none.
type ground struct {
	id, cite, text string
	rules          rulebook.RuleSet
}

// groundOf returns the edition with an id, the one in force when id is nil.
func groundOf(v desk.View, id *string) (ground, error) {
	all, err := v.Registry().RulesEditions()
	if err != nil {
		return ground{}, err
	}
	g := ground{text: string(rulebook.Preset())}
	if len(all) > 0 && (id == nil || *id != "") {
		wanted := ""
		if id != nil {
			wanted = *id
		}
		e, err := chosenRules(all, wanted)
		if err != nil {
			return g, err
		}
		g.id, g.text = e.ID, e.Text
	}
	g.rules, err = rulebook.Parse("", []byte(g.text))
	g.cite = g.rules.Cite()
	return g, err
}

// settingValues are the values of all settings of a rule set, by their names.
func settingValues(r rulebook.RuleSet) map[string]string {
	values := map[string]string{"name": r.Name, "edition": r.Edition, "note": r.Note}
	for _, rule := range r.Rules() {
		for _, s := range slices.Concat(rule.Settings, rule.Sourced()) {
			values[s.Name()] = s.Value
		}
	}
	return values
}

func (s setUpPages) rulesEdit(x *kit.Exchange) error {
	return s.showRules(x, http.StatusOK, "set-up-rules-edit", func(v desk.View) (rulesForm, error) {
		g, err := groundOf(v, nil)
		if err != nil {
			return rulesForm{}, err
		}
		typed := settingValues(g.rules)
		typed["edition"] = following(g.rules.Edition)
		return rulesForm{Cite: g.cite, Base: g.id, Groups: ruleGroups(x.Shell.Terms, g.rules, typed, nil)}, nil
	})
}

func (s setUpPages) rulesText(x *kit.Exchange) error {
	return s.showRules(x, http.StatusOK, "set-up-rules-text", func(v desk.View) (rulesForm, error) {
		g, err := groundOf(v, nil)
		return rulesForm{Cite: g.cite, Base: g.id, Text: g.text}, err
	})
}

// showRules shows a rule set that is being changed.
func (s *Server) showRules(x *kit.Exchange, status int, page string, fill func(desk.View) (rulesForm, error)) error {
	var f rulesForm
	err := s.View(x.R.Context(), func(v desk.View) (err error) {
		f, err = fill(v)
		return err
	})
	if err != nil {
		return err
	}
	f.Back, f.Preview, f.Edit, f.TextHref = s.URL(rulesHref), s.URL(rulesHref+"/preview"), s.URL(rulesHref+"/edit"), s.URL(rulesHref+"/text")
	return x.Show(status, page, false, f)
}

var lastNumber = regexp.MustCompile(`^(.*?)(\d+)(\D*)$`)

// following proposes a name for the edition after one: with its last number raised.
func following(edition string) string {
	m := lastNumber.FindStringSubmatch(edition)
	if m == nil {
		return edition + "-2"
	}
	n, err := strconv.Atoi(m[2])
	if err != nil {
		return edition + "-2"
	}
	return m[1] + fmt.Sprintf("%0*d", len(m[2]), n+1) + m[3]
}

// ruleGroups are the fields of the form, a group for each rule.
func ruleGroups(t words.Terms, r rulebook.RuleSet, typed, wrong map[string]string) []kit.Group {
	sheet := &kit.Sheet{Typed: typed, Wrong: wrong}
	sheet.Part("The edition", "Decisions name the edition by which they were made: a changed rule set has another.")
	sheet.Text("name", "Name of the rule set", "", true)
	sheet.Text("edition", "Edition", "", true)
	sheet.Text("note", "Note", "", false)
	before := settingValues(r)
	var section rulebook.Section
	for _, rule := range r.Rules() {
		settings := slices.Concat(rule.Settings, rule.Sourced())
		if len(settings) == 0 {
			continue
		}
		line := lineOfRule(t, rule)
		g := sheet.Part(line.Name, line.Words)
		g.Folded = true
		if rule.Section != section {
			section, g.Section = rule.Section, string(rule.Section)
		}
		for _, s := range settings {
			sheet.Add(settingField(s))
			g.Open = g.Open || typed[s.Name()] != before[s.Name()]
		}
	}
	n := 0
	for i := range sheet.Groups {
		for j := range sheet.Groups[i].Fields {
			n++
			sheet.Groups[i].Fields[j].ID = "r" + strconv.Itoa(n)
		}
	}
	return sheet.Groups
}

// settingField is the field of one setting.
func settingField(s rulebook.Setting) kit.Field {
	f := kit.Field{Name: s.Name(), Label: capital(desk.SettingLabel(s)), Type: "text", Required: !s.Optional, Unit: s.Unit}
	switch s.Kind {
	case rulebook.Whole, rulebook.Decimal:
		f.Type = "number"
	case rulebook.Duration:
		f.Hint = "A length of time, such as 45min or 4h."
	case rulebook.YesNo:
		f.Type = "select"
		f.Options = []kit.Option{{Value: "yes", Text: "yes"}, {Value: "no", Text: "no"}}
	case rulebook.Choice:
		f.Type = "select"
		if s.Optional {
			f.Options = append(f.Options, kit.Option{Text: "none"})
		}
		for _, a := range s.Allowed {
			f.Options = append(f.Options, kit.Option{Value: a, Text: text.Spaced(a)})
		}
	case rulebook.Calendar:
		f.Type = "date"
	case rulebook.Phrase:
	}
	switch s.Key() {
	case "starts":
		f.Hint = "Of what begins on that day or later. Empty: always."
	case "kept_in":
		f.Hint = "Who releases the scope where this is not checked here. Empty: it is asked for here."
	case "kept_review":
		f.Hint = "The last day: from the next one on it is asked for here."
	case "verified":
		f.Label, f.Hint = "Checked in the cited text", "Your code is kept with it. A rule that is changed counts as not verified until somebody says where "+
			"the new value stands."
	case "verified_in":
		f.Label, f.Hint = "Where it stands there", "Edition, section and page of the cited text."
	}
	return f
}

// fromForm turns what was typed into the form into amendments of the text that it was made from.
func fromForm(g ground, typed map[string]string, by string) (text string, wrong map[string]string) {
	wrong = map[string]string{}
	before := settingValues(g.rules)
	var all []rulebook.Amendment
	for _, name := range []string{"name", "edition", "note"} {
		if typed[name] != before[name] {
			all = append(all, rulebook.Amendment{Path: []string{name}, Value: typed[name], Text: true})
		}
	}
	for _, rule := range g.rules.Rules() {
		amended := amendedRule(rule, typed, by, wrong)
		all = append(all, amended...)
	}
	if len(wrong) > 0 {
		return "", wrong
	}
	changed, err := rulebook.Amend([]byte(g.text), all...)
	if err != nil {
		wrong["name"] = kit.Sentence(err.Error())
	}
	return string(changed), wrong
}

// amendedRule turns what was typed for one rule into amendments. Whoever says that a rule is verified is
// kept with it; a rule that is changed without that is not verified any more.
func amendedRule(rule rulebook.Rule, typed map[string]string, by string, wrong map[string]string) []rulebook.Amendment {
	var all []rulebook.Amendment
	changed := map[string]bool{}
	values := map[string]string{}
	for _, s := range slices.Concat(rule.Settings, rule.Sourced()) {
		value, sent := typed[s.Name()]
		if value = strings.TrimSpace(value); !sent {
			value = s.Value
		}
		values[s.Key()] = value
		if value == s.Value {
			continue
		}
		changed[s.Key()] = true
		a, err := s.Amend(value)
		if err != nil {
			wrong[s.Name()] = kit.Sentence(err.Error())
			continue
		}
		all = append(all, a)
	}
	if rule.Source == nil || len(changed) == 0 {
		return all
	}
	source := func(key, value string, text bool) {
		all = append(all, rulebook.Amendment{Path: append(slices.Clone(rule.Base), key), Value: value, Text: text})
	}
	switch verified := values["verified"] == kit.Ticked; {
	case verified && (changed["verified"] || changed["verified_in"]):
		if values["verified_in"] == "" {
			wrong[strings.Join(append(slices.Clone(rule.Base), "verified_in"), " / ")] = "Say where in the cited text the value stands."
		}
		source("verified_by", by, true)
	case verified: // the value or the citation has changed
		source("verified", "no", false)
		source("verified_by", "", true)
		source("verified_in", "", true)
	case changed["verified"]:
		source("verified_by", "", true)
	}
	return all
}

// previewPage is how a new edition differs from the one in force, before it is adopted.
type previewPage struct {
	Cite, Text, Base string
	ID               string
	Problem          string
	Changes          []differenceLine
	From             string
	Unverified       []string
	// Less is what it asks less of than before, which takes a second person.
	Less            []string
	Second, Slip    string
	Reason          string
	Prove           bool
	Action, Preview string
	Back            string
}

// rulesPreview shows how what was typed differs from the edition in force, or what is wrong with it.
func (s setUpPages) rulesPreview(x *kit.Exchange) error {
	if err := x.Parse(); err != nil {
		return err
	}
	form := x.R.PostForm
	base, text := form.Get("base"), lineFeeds(form.Get("text"))
	if form.Has("back") {
		return s.textAgain(x, http.StatusOK, base, text, "", nil)
	}
	if !form.Has("text") {
		var again func() error
		err := s.View(x.R.Context(), func(v desk.View) (err error) {
			text, base, again, err = s.formToText(x, v, base)
			return err
		})
		if err != nil || again != nil {
			if err == nil {
				err = again()
			}
			return err
		}
	}
	return s.preview(x, http.StatusOK, previewPage{Text: text, Base: base, Reason: form.Get("reason")})
}

// rulesPast shows how an earlier edition, which the address names, differs from the one in force, so that it
// can be adopted again; without a name the rule set to start from.
func (s setUpPages) rulesPast(x *kit.Exchange) error {
	p := previewPage{Text: string(rulebook.Preset())}
	err := s.View(x.R.Context(), func(v desk.View) error {
		now, err := groundOf(v, nil)
		if err != nil {
			return err
		}
		p.Base = now.id
		id := x.R.URL.Query().Get("edition")
		if id == "" {
			return nil
		}
		g, err := groundOf(v, &id)
		p.Text = g.text
		return err
	})
	if err != nil {
		return err
	}
	return s.preview(x, http.StatusOK, p)
}

// formToText makes the text of what was typed into the form; again shows the form when that cannot be.
func (s *Server) formToText(x *kit.Exchange, v desk.View, base string) (text, from string, again func() error, err error) {
	g, err := groundOf(v, &base)
	if err != nil {
		return "", "", nil, err
	}
	typed := map[string]string{}
	for name := range settingValues(g.rules) {
		if x.R.PostForm.Has(name) {
			typed[name] = strings.TrimSpace(x.R.PostForm.Get(name))
		}
	}
	now, err := groundOf(v, nil)
	if err != nil {
		return "", "", nil, err
	}
	show := func(f rulesForm, status int) func() error {
		return func() error {
			return s.showRules(x, status, "set-up-rules-edit", func(desk.View) (rulesForm, error) { return f, nil })
		}
	}
	if now.id != g.id {
		return "", "", show(meanwhileRules(s, v, g, now, typed), http.StatusConflict), nil
	}
	text, wrong := fromForm(g, typed, x.Who.Code)
	if len(wrong) > 0 {
		f := rulesForm{
			Cite:    g.cite,
			Base:    g.id,
			Groups:  ruleGroups(x.Shell.Terms, g.rules, merge(settingValues(g.rules), typed), wrong),
			Problem: "Something cannot be read. Look at the marked fields; nothing was stored.",
		}
		return "", "", show(f, http.StatusBadRequest), nil
	}
	return text, g.id, nil, nil
}

// merge lays values over others.
func merge(under, over map[string]string) map[string]string {
	all := maps.Clone(under)
	maps.Copy(all, over)
	return all
}

// meanwhileRules is the form after somebody else has adopted an edition: on from that one.
func meanwhileRules(s *Server, v desk.View, g, now ground, typed map[string]string) rulesForm {
	was, is := settingValues(g.rules), settingValues(now.rules)
	mine := merge(was, typed)
	mingledValues, both := kit.Mingled(was, mine, is, slices.Sorted(maps.Keys(is)))
	f := rulesForm{
		Cite:    now.cite,
		Base:    now.id,
		Groups:  ruleGroups(s.Terms, now.rules, mingledValues, nil),
		Problem: "Somebody else has adopted an edition meanwhile; nothing was stored. Look at what is new, then go on.",
	}
	f.Conflict = s.rulesConflict(v, g, now)
	for _, n := range both {
		if n == "edition" || n == "name" {
			continue
		}
		f.Conflict.Clashes = append(f.Conflict.Clashes, kit.Clash{Label: n, Theirs: is[n], Mine: mine[n]})
	}
	return f
}

// rulesConflict says what somebody else has adopted.
func (s *Server) rulesConflict(v desk.View, from, now ground) *conflict {
	c := &conflict{By: "somebody else", Lines: differenceLines(s.Terms, from.rules, now.rules, v.Zone())}
	if all, err := v.Records().Editions(record.Rules, "rules"); err == nil {
		if e, ok := desk.Latest(all); ok {
			c.By, c.At = e.By, s.ClockOf(v)(e.Recorded)
		}
	}
	return c
}

// textAgain shows the text of a rule set with what is wrong with it.
func (s setUpPages) textAgain(x *kit.Exchange, status int, base, text, problem string, c *conflict) error {
	return s.showRules(x, status, "set-up-rules-text", func(v desk.View) (rulesForm, error) {
		g, err := groundOf(v, &base)
		f := rulesForm{Cite: g.cite, Base: base, Text: text, Problem: problem, Conflict: c}
		lines := strings.Split(text, "\n")
		for _, fault := range rulebook.Faults([]byte(text)) {
			line := faultLine{Fault: fault}
			if fault.Line > 0 && fault.Line <= len(lines) {
				line.Words = strings.TrimSpace(lines[fault.Line-1])
			}
			f.Faults = append(f.Faults, line)
		}
		return f, err
	})
}

// lineFeeds writes the line breaks of a form, which are CR LF, as those of a text.
func lineFeeds(text string) string { return strings.ReplaceAll(text, "\r\n", "\n") }

// preview shows how a text differs from the edition in force.
func (s setUpPages) preview(x *kit.Exchange, status int, p previewPage) error {
	rules, err := rulebook.Parse("", []byte(p.Text))
	if err != nil {
		return s.textAgain(x, http.StatusBadRequest, p.Base, p.Text, "The text is no rule set yet; nothing was stored.", nil)
	}
	p.Cite, p.Action, p.Preview, p.Back = rules.Cite(), s.URL(rulesHref), s.URL(rulesHref+"/preview"), s.URL(rulesHref)
	p.Unverified, p.Prove = rules.Unverified(), x.Unsigned()
	if p.ID == "" {
		p.ID = x.Form(kit.Sent{}, "new").ID
	}
	var raced *conflict
	err = s.View(x.R.Context(), func(v desk.View) error {
		g, err := groundOf(v, &p.Base)
		if err != nil {
			return err
		}
		now, err := groundOf(v, nil)
		if err != nil {
			return err
		}
		if now.id != g.id {
			raced, p.Base = s.rulesConflict(v, g, now), now.id
			return nil
		}
		if g.id != "" {
			p.From, p.Changes = g.cite, differenceLines(s.Terms, g.rules, rules, v.Zone())
		}
		p.Less, err = v.Registry().AsksLess(rules)
		return err
	})
	if err != nil {
		return err
	}
	if raced != nil {
		return s.textAgain(
			x,
			http.StatusConflict,
			p.Base,
			p.Text,
			"Somebody else has adopted an edition meanwhile; nothing was stored. Take over what is new, then look at the difference again.",
			raced,
		)
	}
	return x.Show(status, "set-up-rules-preview", false, p)
}

// rulesAdopt adopts a rule set. That is a signature.
func (s setUpPages) rulesAdopt(x *kit.Exchange) error {
	if err := x.Parse(); err != nil {
		return err
	}
	f := x.Read("base", "reason", "second", "slip")
	text := lineFeeds(x.R.PostFormValue("text"))
	e, err := x.Entry(f)
	if err != nil {
		return err
	}
	e.Reason = strings.TrimSpace(f.Typed["reason"])
	if e.Reason == "" {
		err = &kit.PageError{Status: http.StatusBadRequest, Message: "Say why the rule set is adopted."}
	}
	if err == nil {
		err = signedByTwo(x, f, &e)
	}
	if err == nil {
		err = x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
			_, _, err := w.SettingUp().AdoptFrom(e, ledger.ID(f.Typed["base"]),
				desk.Adoption{Name: "rules", Text: []byte(text), Slip: f.Typed["slip"] == kit.Ticked})
			return err
		})
	}
	if err == nil {
		return x.Redirect(rulesHref + "?done=adopted")
	}
	status, words, ok := kit.Refused(x, err)
	if !ok {
		return err
	}
	return s.preview(x, status, previewPage{
		Text: text, Base: f.Typed["base"], ID: f.ID, Reason: f.Typed["reason"], Problem: words, Second: f.Typed["second"], Slip: f.Typed["slip"],
	})
}
