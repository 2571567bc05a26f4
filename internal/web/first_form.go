package web

import (
	"cmp"
	"errors"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	rules "rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/identity"
	"rinsate/internal/record"
	"rinsate/internal/web/kit"
)

// beginLimit bounds the form of the first run: a rule set as a file and once more as text, and the rest.
const beginLimit = 2*rules.MaxSize + kit.FormLimit

// beginPage is the form of the first run, empty or as it was sent.
type beginPage struct {
	firstStyle
	Problems []formProblem
	// Dir is where the records will be kept, InventedDir where the invented hospital would be.
	Dir, InventedDir string
	Typed            map[string]string
	Zones            []zoneGroup
	Tests            []testChoice
	Preset           rules.RuleSet
	PresetText       string
	Open             []string
	Shortest         int
	// suggested says that the code was made from the name.
	suggested bool
}

// formProblem is what is wrong with a field.
type formProblem struct{ Field, Text string }

// testChoice is a residue test: what is measured and in which unit.
type testChoice struct {
	Value, Text string
}

// testChoices are the residue tests that levels can be adopted for.
func testChoices() []testChoice {
	var all []testChoice
	for _, a := range reading.Analytes {
		for _, u := range reading.UnitsOf(a) {
			all = append(all, testChoice{string(a) + "|" + string(u), strings.TrimSuffix(measured(a)+", in "+string(u), ", in strip")})
		}
	}
	return all
}

// measured is what an analyte is for a person.
func measured(a reading.Analyte) string {
	switch a {
	case reading.ATP:
		return "ATP by light"
	case reading.ATPAmount:
		return "ATP as an amount"
	case reading.TOC:
		return "total organic carbon"
	case reading.Strip:
		return "a strip that is read by eye"
	case reading.Protein, reading.Haemoglobin, reading.Carbohydrate, reading.Viable:
	}
	return text.Spaced(a)
}

// usualTest is the first of the choices: ATP in relative light units.
func usualTest() string { return testChoices()[0].Value }

// beginFields are the fields of the form that are kept when it is shown again; secrets are not.
var beginFields = []string{"name", "site", "zone", "terms", "test", "system", "meter", "serial", "kit", "lot", "until", "rules", "rules-text", "code", "person"}

// form returns the empty form.
func (f *First) form(*kit.Exchange) beginPage {
	p := beginPage{
		Dir: f.o.Dir, Typed: map[string]string{"zone": f.o.Zone, "terms": string(f.o.Terms), "test": usualTest(), "rules": "preset"},
		Tests: testChoices(), PresetText: string(rules.Preset()), Shortest: access.ShortestAlone,
	}
	p.Zones = zoneGroups(f.o.Zone)
	p.InventedDir, _ = f.inventedDir() // without one the act says so
	var err error
	if p.Preset, err = rules.Parse("general.yaml", rules.Preset()); err == nil {
		p.Open = p.Preset.Unverified()
	}
	return p
}

// read reads the form as it was sent.
func (f *First) read(x *kit.Exchange) (beginPage, error) {
	p := f.form(x)
	if err := x.R.ParseMultipartForm(beginLimit); err != nil && !errors.Is(err, http.ErrNotMultipart) {
		return p, &kit.PageError{
			Status:  http.StatusBadRequest,
			Message: "The form cannot be read.",
			Hint:    "Go back and send it again; a rule set has at most 48 kB.",
		}
	}
	for _, name := range beginFields {
		p.Typed[name] = strings.TrimSpace(x.R.FormValue(name))
	}
	for _, name := range []string{"password", "again"} {
		p.Typed[name] = x.R.FormValue(name)
	}
	if file, header, err := x.R.FormFile("rules-file"); err == nil {
		text, err := io.ReadAll(io.LimitReader(file, rules.MaxSize+1))
		if err != nil {
			return p, &kit.PageError{Status: http.StatusBadRequest, Message: "The file with the rule set did not arrive whole.", Hint: "Send the form again."}
		}
		if header.Size > 0 {
			p.Typed["rules"], p.Typed["rules-text"] = "own", string(text)
		}
	}
	if p.Typed["site"] == "" && p.Typed["name"] != "" {
		p.Typed["site"], p.suggested = desk.SuggestSiteCode(p.Typed["name"]), true
	}
	p.Zones = zoneGroups(p.Typed["zone"])
	return p, nil
}

// beginning makes of the form what the desk begins with, and lists what is wrong with it. The form keeps
// no secret after that.
func (p *beginPage) beginning(now unit.Instant) (desk.Beginning, []formProblem) {
	password, again := p.Typed["password"], p.Typed["again"]
	delete(p.Typed, "password")
	delete(p.Typed, "again")
	b := desk.Beginning{
		Site:      record.SiteBody{Code: p.Typed["site"], Name: p.Typed["name"], Zone: p.Typed["zone"], Terms: record.Terms(p.Typed["terms"])},
		Rules:     rules.Preset(),
		RulesName: "general.yaml",
		By:        p.Typed["code"],
		First: &identity.NewAccount{
			Code:     p.Typed["code"],
			Name:     p.Typed["person"],
			Roles:    []access.Role{access.Lead, access.Administrator},
			Password: password,
		},
	}
	var problems []formProblem
	wrong := func(field, text string) { problems = append(problems, formProblem{field, text}) }
	if p.Typed["rules"] == "own" {
		b.Rules, b.RulesName = []byte(p.Typed["rules-text"]), "rules.yaml"
	}
	p.kit(&b, wrong)
	fields := map[string]string{"rules": "rules-text", "lot": "until"}
	for _, fault := range b.Faults(now) {
		field := fault.Part
		if other, ok := fields[field]; ok {
			field = other
		}
		wrong(field, kit.Sentence(strings.TrimPrefix(kit.StoreMessage(fault.Err), access.ErrArgument.Error()+": ")))
	}
	if password != again {
		wrong("again", "The two passwords differ.")
	}
	if p.suggested {
		wrong("site", "The site needs a code. One was made from the name: change it, or send the form again.")
	}
	order := append(slices.Clone(beginFields), "password", "again")
	slices.SortStableFunc(problems, func(a, b formProblem) int {
		return cmp.Compare(slices.Index(order, a.Field), slices.Index(order, b.Field))
	})
	return b, problems
}

// kit reads the residue test: a meter where the test has one, and the first lot where it is known.
func (p *beginPage) kit(b *desk.Beginning, wrong func(field, text string)) {
	t := p.Typed
	if !slices.ContainsFunc(p.Tests, func(c testChoice) bool { return c.Value == t["test"] }) {
		wrong("test", "Choose what the test measures and in which unit.")
	}
	if t["system"] == "" {
		wrong("system", "Name the meter system, or the make of strips where there is no meter.")
	}
	if t["kit"] == "" {
		wrong("kit", "Name the kit that samples are taken with.")
	}
	switch {
	case t["meter"] != "":
		b.Meter = &quality.Meter{Code: t["meter"], System: t["system"], Serial: t["serial"]}
	case strings.HasPrefix(t["test"], string(reading.ATP)+"|"):
		wrong("meter", "Light is read with a meter: give the first one a code, such as M-1.")
	case t["serial"] != "":
		wrong("meter", "A meter with a serial number needs a code, such as M-1.")
	}
	if t["lot"] == "" && t["until"] == "" {
		return
	}
	zone, err := time.LoadLocation(t["zone"])
	if err != nil {
		return // said of the zone
	}
	last, err := time.ParseInLocation(time.DateOnly, t["until"], zone)
	if err != nil {
		wrong("until", "Give the last day on which the lot may be used, such as 2027-06-30.")
		return
	}
	if t["lot"] == "" {
		wrong("lot", "Give the number of the lot.")
		return
	}
	b.Lot = &quality.Lot{Kit: t["kit"], Lot: t["lot"], Expires: unit.At(last.AddDate(0, 0, 1))}
}

// test is the residue test as the template of levels wants it.
func (p *beginPage) test() url.Values {
	analyte, inUnit, _ := strings.Cut(p.Typed["test"], "|")
	return url.Values{"system": {p.Typed["system"]}, "kit": {p.Typed["kit"]}, "analyte": {analyte}, "unit": {inUnit}}
}

// firstField is a field of one line.
type firstField struct {
	ID, Label, Value, Help, Type, Complete, Problem string
	Required                                        bool
}

// Field describes a field of one line by its name.
func (p beginPage) Field(id string) firstField {
	f := firstField{ID: id, Value: p.Typed[id], Problem: p.Problem(id), Type: "text", Complete: "off", Required: true}
	switch id {
	case "name":
		f.Label, f.Complete = "Name of the facility", "organization"
	case "site":
		f.Label, f.Help = "Short code of the site", "Letters, digits and hyphens. It is part of every record and never changes. Left empty, one is made "+
			"from the name."
		f.Required = false
	case "system":
		f.Label, f.Help = "Meter system", "The make and type of the meters. All meters of one system count on one scale."
	case "meter":
		f.Label, f.Help, f.Required = "Code of the first meter", "As on its sticker, such as M-1.", false
	case "serial":
		f.Label, f.Required = "Its serial number", false
	case "kit":
		f.Label, f.Help = "Kit", "The swabs or strips, as the box names them."
	case "lot":
		f.Label, f.Help, f.Required = "Lot at hand", "More lots come later; without one there is nothing to sample with yet.", false
	case "until":
		f.Label, f.Help, f.Type, f.Required = "Last day of its use", "Year, month, day.", "date", false
	case "code":
		f.Label, f.Help, f.Complete = "Your code", "Records name codes and never people: letters, digits and hyphens, such as L-01.", "username"
	case "person":
		f.Label, f.Complete = "Your name", "name"
	case "password":
		f.Label, f.Type, f.Complete, f.Value = "Password", "password", "new-password", ""
		f.Help = "At least 15 characters; several words that nobody else would put together do well."
	case "again":
		f.Label, f.Type, f.Complete, f.Value = "Password again", "password", "new-password", ""
	}
	return f
}

// Problem returns what is wrong with a field, empty when nothing is.
func (p beginPage) Problem(id string) string {
	for _, x := range p.Problems {
		if x.Field == id {
			return x.Text
		}
	}
	return ""
}
