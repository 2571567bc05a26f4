package web

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"rinsate/internal/base/text"
	"rinsate/internal/desk"
	rulebook "rinsate/internal/domain/policy"
	"rinsate/internal/present/words"
	"rinsate/internal/record"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

// rulesPage is one edition of the rule set, rule by rule, and all editions that there were.
type rulesPage struct {
	// None says that no rule set was adopted yet.
	None                       bool
	Cite, Since, By, Why, Href string
	Note                       string
	Past                       bool
	// Again is where an earlier edition is adopted once more.
	Latest, Again         string
	Said                  string
	Q, Only, Action       string
	Shown, Of, Unverified int
	Sections              []ruleSection
	Edit, Text            string
	History               history
	Export                kit.Exports
	Edition               string
	Decided               int
}

type ruleSection struct {
	Name, Anchor string
	Rules        []ruleLine
}

// ruleLine is one rule with where it comes from.
type ruleLine struct {
	Name, Words, Citation, VerifiedBy, VerifiedIn string
	Own                                           bool
	Mark                                          words.Mark
	Acts                                          []actLine
}

// rulesHref is where the rules are.
const rulesHref = "/set-up/rules"

// rules shows the rule set in force, or the edition that the address names.
func (s setUpPages) rules(x *kit.Exchange) error {
	wants, err := x.WantsFile()
	if err != nil {
		return err
	}
	q := x.R.URL.Query()
	page := rulesPage{Action: s.URL(rulesHref), Q: strings.TrimSpace(q.Get("q")), Only: q.Get("only"), Edition: q.Get("edition"), Export: x.Exports()}
	if q.Get("done") == "adopted" {
		page.Said = "The rule set is adopted. It judges from now on; earlier decisions keep the edition that made them."
	}
	if x.Can(desk.ToAdoptFrom) {
		page.Edit, page.Text = s.URL(rulesHref+"/edit"), s.URL(rulesHref+"/text")
	}
	err = s.View(x.R.Context(), func(v desk.View) error {
		all, err := v.Registry().RulesEditions()
		if err != nil {
			return err
		}
		if page.None = len(all) == 0; page.None {
			return nil
		}
		e, err := chosenRules(all, page.Edition)
		if err != nil {
			return err
		}
		if err := page.say(x, v, all, e); err != nil {
			return err
		}
		return page.past(x, v, all)
	})
	if err != nil {
		return err
	}
	if wants {
		return x.File(page.listing())
	}
	return x.Show(http.StatusOK, "set-up-rules", false, page)
}

// chosenRules returns an edition by its record, the one in force when none is named.
func chosenRules(all []desk.RulesEdition, id string) (desk.RulesEdition, error) {
	i := slices.IndexFunc(all, func(e desk.RulesEdition) bool { return e.ID == id })
	if id == "" {
		for j, e := range all {
			if !e.Gone {
				i = j
			}
		}
		i = max(i, 0)
	}
	if i < 0 {
		return desk.RulesEdition{}, kit.NotHere("There is no such edition of the rule set.")
	}
	return all[i], nil
}

// say fills in what an edition says.
func (p *rulesPage) say(x *kit.Exchange, v desk.View, all []desk.RulesEdition, e desk.RulesEdition) error {
	r, err := e.Parsed()
	if err != nil {
		return err
	}
	s := x.Shell
	clock := s.ClockOf(v)
	p.Cite, p.Since, p.By, p.Why, p.Href, p.Note = e.Cite, clock(e.At), e.By, e.Reason, x.RecordLink(e.ID), r.Note
	if now, err := chosenRules(all, ""); err != nil {
		return err
	} else if p.Past = now.ID != e.ID; p.Past {
		p.Latest, p.Again = s.URL(rulesHref), s.URL(rulesHref+"/preview?edition="+e.ID)
	}
	decided, err := v.Registry().Decided()
	if err != nil {
		return err
	}
	p.Decided = decided[e.Cite]
	for _, rule := range r.Rules() {
		line := lineOfRule(x.Shell.Terms, rule)
		p.Of++
		open := rule.Source != nil && !rule.Source.Verified
		if open {
			p.Unverified++
		}
		if p.Only == "open" && !open || !kit.Mentions(p.Q, string(rule.Section), line.Name, line.Words, line.Citation) {
			continue
		}
		p.Shown++
		if n := len(p.Sections); n == 0 || p.Sections[n-1].Name != string(rule.Section) {
			p.Sections = append(p.Sections, ruleSection{Name: string(rule.Section), Anchor: kit.Anchor(string(rule.Section))})
		}
		last := &p.Sections[len(p.Sections)-1]
		last.Rules = append(last.Rules, line)
	}
	return nil
}

// lineOfRule says a rule in words.
func lineOfRule(t words.Terms, r rulebook.Rule) ruleLine {
	l := ruleLine{Name: text.Spaced(r.Name), Words: r.Words, Own: r.Source == nil}
	if r.Section == rulebook.Disinfectants || r.Section == rulebook.Storage {
		l.Name = r.Name // what people read on a label
	}
	if r.Source != nil {
		l.Citation, l.VerifiedBy, l.VerifiedIn, l.Mark = r.Source.Citation, r.Source.VerifiedBy, r.Source.VerifiedIn, t.Mark(words.NotVerified)
		if r.Source.Verified {
			l.Mark = t.Mark(words.Verified)
		}
	}
	if r.Protocol != nil {
		for _, a := range r.Protocol.Acts {
			l.Acts = append(l.Acts, actLine{a.Do, a.Quantities(), a.Invalid})
		}
	}
	return l
}

// past fills in the editions and how two of them differ.
func (p *rulesPage) past(x *kit.Exchange, v desk.View, all []desk.RulesEdition) error {
	editions := make([]desk.Edition, len(all))
	for i, e := range all {
		editions[i] = e.Edition
	}
	body := func(e desk.Edition) (any, error) {
		text, err := desk.BodyOf[record.RulesBody](e)
		if err != nil {
			return nil, err
		}
		return text.Rules()
	}
	h, err := historyOf(x, v, editions, body, x.Shell.URL(rulesHref))
	if err != nil {
		return err
	}
	decided, err := v.Registry().Decided()
	if err != nil {
		return err
	}
	for i := range h.Lines {
		e := all[len(all)-1-i]
		h.Lines[i].What, h.Lines[i].Extra = e.Cite, strconv.Itoa(decided[e.Cite])
		h.Lines[i].Shown = x.Shell.URL(rulesHref + "?edition=" + e.ID)
	}
	for i := range h.From {
		e := all[len(all)-1-i]
		h.From[i].Text, h.To[i].Text = fmt.Sprintf("%d: %s", e.Number, e.Cite), fmt.Sprintf("%d: %s", e.Number, e.Cite)
	}
	p.History = h
	return nil
}

// listing is the list of rules as a file.
func (p *rulesPage) listing() kit.Listing {
	l := kit.Listing{
		Name: "rules",
		Columns: []table.SheetColumn{
			{Name: "section"},
			{Name: "rule"},
			{Name: "value"},
			{Name: "citation"},
			{Name: "state"},
			{Name: "verified by"},
			{Name: "verified in"},
		},
	}
	for _, s := range p.Sections {
		for _, r := range s.Rules {
			l.Rows = append(l.Rows, []string{s.Name, r.Name, r.Words, r.Citation, r.Mark.Word, r.VerifiedBy, r.VerifiedIn})
		}
	}
	return l
}
