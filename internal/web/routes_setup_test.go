package web

import (
	"net/http"
	"net/url"

	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	rules "rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
)

// setUpMayOpen is about the set-up; see mayOpen.
var setUpMayOpen = map[string]string{
	"GET /set-up":                               "LIQVA",
	"GET /set-up/models":                        "LIQVA",
	"POST /set-up/models":                       "LA",
	"GET /set-up/register/model":                "LA",
	"GET /set-up/models/{model}":                "LIQVA",
	"GET /set-up/models/{model}/edit":           "LA",
	"POST /set-up/models/{model}":               "LA",
	"GET /set-up/models/{model}/points/{point}": "LIQVA",
	"GET /set-up/fleet":                         "LIQVA",
	"POST /set-up/fleet":                        "LA",
	"GET /set-up/register/scope":                "LA",
	"GET /set-up/fleet/{tag}":                   "LIQVA",
	"GET /set-up/fleet/{tag}/edit":              "LA",
	"POST /set-up/fleet/{tag}":                  "LA",
	"POST /set-up/fleet/{tag}/leave":            "LA",
	"POST /set-up/fleet/{tag}/return":           "LA",
	"GET /set-up/meters":                        "LIQVA",
	"POST /set-up/meters":                       "LA",
	"GET /set-up/register/meter":                "LA",
	"GET /set-up/meters/{code}":                 "LIQVA",
	"GET /set-up/meters/{code}/edit":            "LA",
	"POST /set-up/meters/{code}":                "LA",
	"GET /set-up/targets":                       "LIQVA",
	"POST /set-up/targets":                      "LI",
	"GET /set-up/register/target":               "LI",
	"GET /set-up/targets/{target}":              "LIQVA",
	"GET /set-up/targets/{target}/edit":         "LI",
	"POST /set-up/targets/{target}":             "LI",
	"GET /set-up/levels":                        "LIQVA",
	"POST /set-up/levels":                       "LI",
	"GET /set-up/register/level":                "LI",
	"GET /set-up/levels/{key}":                  "LIQVA",
	"GET /set-up/levels/{key}/edit":             "LI",
	"POST /set-up/levels/{key}":                 "LI",
	"GET /set-up/kits":                          "LIQVA",
	"POST /set-up/kits":                         "LA",
	"GET /set-up/register/lot":                  "LA",
	"GET /set-up/kits/{lot}":                    "LIQVA",
	"GET /set-up/kits/{lot}/edit":               "LA",
	"POST /set-up/kits/{lot}":                   "LA",
	"POST /set-up/kits/{lot}/recall":            "LA",
	"POST /set-up/kits/{lot}/take-back":         "LI!",
	"GET /set-up/rules":                         "LIQVA",
	"GET /set-up/rules/edit":                    "LI",
	"GET /set-up/rules/text":                    "LI",
	"GET /set-up/rules/preview":                 "LI",
	"POST /set-up/rules/preview":                "LI",
	"POST /set-up/rules":                        "LI",
}

// amendedRules is the rule set to start from with one value changed and one rule verified.
func amendedRules(b *site) []byte {
	b.Helper()
	text, err := rules.Amend(
		rules.Preset(),
		rules.Amendment{Path: []string{"edition"}, Value: "2026-2", Text: true},
		rules.Amendment{Path: []string{"reading", "cleanings"}, Value: "2"},
		rules.Amendment{Path: []string{"sampling", "due", "on-arrival", "verified"}, Value: "yes"},
		rules.Amendment{Path: []string{"sampling", "due", "on-arrival", "verified_by"}, Value: "L-01", Text: true},
		rules.Amendment{Path: []string{"sampling", "due", "on-arrival", "verified_in"}, Value: "local policy, section 4", Text: true},
	)
	if err != nil {
		b.Fatal(err)
	}
	return text
}

// describe gives what is registered a past: a model, a scope, a lot, a meter and the rules have two editions
// then. It does so once.
func (b *site) describe() {
	b.Helper()
	var done bool
	b.look(func(v desk.View) error {
		all, err := v.Records().Editions(record.Model, duodenoscope.Name)
		done = len(all) > 1
		return err
	})
	if done {
		return
	}
	why := func(e desk.Entry, reason string) desk.Entry {
		e.Reason = reason
		return e
	}
	base := func(typ record.Kind, key string) (id ledger.ID) {
		b.look(func(v desk.View) error {
			all, err := v.Records().Editions(typ, key)
			id = ledger.ID(all[len(all)-1].ID)
			return err
		})
		return id
	}
	lot, rule := base(record.Lot, "K|8"), base(record.Rules, "rules")
	b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		m := duodenoscope
		m.Instructions = "IFU, edition 3"
		m.Channels = append([]scope.Channel{}, m.Channels...)
		m.Channels[0].Length, m.Second = 1345, "L-02"
		m.Channels = append(m.Channels, scope.Channel{Kind: scope.AirChannel, Diameter: 1.2, Length: 3000, Flushable: true})
		r, _, err := w.SettingUp().RegisterModel(why(e, "measured again; the air channel was left out"), b.at(), m)
		return r, err
	})
	b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		return w.SettingUp().RegisterInstrument(why(e, "lent back to "+awkward), b.at(), scope.Instrument{
			Tag: "G-09", Serial: "SN G-09", Model: gastroscope.Name, Owner: scope.Loan, InService: b.at(), Retired: b.at() + 1,
		})
	})
	b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		return w.SettingUp().Recall(why(e, "the maker asks for it back"), "K|8", lot, b.at())
	})
	b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		return w.SettingUp().RegisterMeter(why(e, "replaced"), b.at(), quality.Meter{Code: "M-3", System: "A", Serial: "7", Retired: b.at()})
	})
	b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		r, _, err := w.SettingUp().AdoptFrom(why(e, "fewer cleanings after the review"), rule, desk.Adoption{Name: "rules", Text: amendedRules(b)})
		return r, err
	})
	b.clock.Move(20e9)
}

// looked is the address of a form of the model that is looked at before it is sent.
func looked(b *site) string {
	m := duodenoscope
	m.OuterDiameter = 13.5
	values := url.Values{"look": {"1"}, "id": {"018f0000-0000-7000-8000-000000000000"}}
	for name, value := range modelValues(m, b.desk.DB.Zone()) {
		values.Set(name, value)
	}
	return "/set-up/models/D1/edit?" + values.Encode()
}

// levelKey is the level of an outer distal end, as addresses have it.
const levelKey = "A%7CK%7Couter-distal-end%7C%7Catp"

// setUpExamples are the pages about the set-up; see examples.
func (b *site) setUpExamples() []example {
	b.Helper()
	b.describe()
	return []example{
		{"set-up", "/set-up", "set-up", http.StatusOK, access.Lead},
		{"models", "/set-up/models", "set-up-models", http.StatusOK, access.Lead},
		{"model", "/set-up/models/D1", "set-up-thing", http.StatusOK, access.Lead},
		{"model for an auditor", "/set-up/models/G1", "set-up-thing", http.StatusOK, access.Auditor},
		{"model, change", "/set-up/models/D1/edit", "set-up-form", http.StatusOK, access.Lead},
		{"model, looked at", looked(b), "set-up-form", http.StatusOK, access.Lead},
		{"model, new", "/set-up/register/model", "set-up-form", http.StatusOK, access.Administrator},
		{"point", "/set-up/models/D1/points/instrument-channel", "set-up-point", http.StatusOK, access.Analyst},
		{"point, sealed", "/set-up/models/D1/points/elevator-wire-channel", "set-up-point", http.StatusOK, access.Lead},
		{"fleet", "/set-up/fleet", "set-up-fleet", http.StatusOK, access.Lead},
		{"scope as registered", "/set-up/fleet/" + readyScope, "set-up-thing", http.StatusOK, access.Lead},
		{"scope that left", "/set-up/fleet/G-09", "set-up-thing", http.StatusOK, access.Lead},
		{"scope, change", "/set-up/fleet/" + readyScope + "/edit", "set-up-form", http.StatusOK, access.Lead},
		{"meters as registered", "/set-up/meters", "set-up-meters", http.StatusOK, access.Lead},
		{"meter as registered", "/set-up/meters/M-1", "set-up-thing", http.StatusOK, access.Lead},
		{"targets", "/set-up/targets", "set-up-targets", http.StatusOK, access.Lead},
		{"target", "/set-up/targets/A%7Cpositive%7Clight", "set-up-thing", http.StatusOK, access.Lead},
		{"first levels", "/set-up/levels", "set-up-levels", http.StatusOK, access.Lead},
		{"first level", "/set-up/levels/" + levelKey, "set-up-thing", http.StatusOK, access.Auditor},
		{"first level, change", "/set-up/levels/" + levelKey + "/edit", "set-up-form", http.StatusOK, access.Lead},
		{"first level, new", "/set-up/register/level", "set-up-form", http.StatusOK, access.InfectionPrevention},
		{"target, change", "/set-up/targets/A%7Cpositive%7Clight/edit", "set-up-form", http.StatusOK, access.Lead},
		{"kits", "/set-up/kits", "set-up-kits", http.StatusOK, access.Lead},
		{"lot", "/set-up/kits/K%7C7", "set-up-thing", http.StatusOK, access.Lead},
		{"lot, recalled", "/set-up/kits/K%7C8", "set-up-thing", http.StatusOK, access.Auditor},
		{"rules", "/set-up/rules", "set-up-rules", http.StatusOK, access.Lead},
		{"rules, change", "/set-up/rules/edit", "set-up-rules-edit", http.StatusOK, access.Lead},
		{"rules, text", "/set-up/rules/text", "set-up-rules-text", http.StatusOK, access.InfectionPrevention},
		{"rules, to start from", "/set-up/rules/preview", "set-up-rules-preview", http.StatusOK, access.Lead},
		{"no such model", "/set-up/models/none", "problem", http.StatusNotFound, access.Lead},
	}
}
