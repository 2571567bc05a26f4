package web

import (
	"maps"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/trend"
	"rinsate/internal/present/words"
	"rinsate/internal/store/storetest"
)

// A lot and a person are planted; an infection preventionist finds both, the person first as a number and
// then, when asked for, by code.
func TestVariationFindsWhatIsPlanted(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	b.plant()
	p := openPage(t, b.server.Base.String())
	signIn(b, p, access.InfectionPrevention)
	p.open("/variation")
	p.waitText(".stand-out", "Lot "+plantedLot)
	hidden := p.html()
	if got := p.text(".stand-out"); !regexp.MustCompile(`▲ higher Person \d+: readings 1\.\d+ times as high`).MatchString(got) || strings.Count(got, "▲") != 2 {
		t.Errorf("what stands out:\n%s", got)
	}
	if code := regexp.MustCompile(`\bC-\d\b`).FindString(hidden); code != "" {
		t.Errorf("the page with people hidden names %s", code)
	}
	p.option("#people", "shown by code")
	p.press(".filter", "Show")
	p.waitText(".said", "not for punishment")
	p.waitText(".stand-out", "Person "+plantedPerson)
	p.followTo(`.stand-out a[href*="without=lot"]`)
	p.waitText("main", "Without lot "+plantedLot)
	p.waitText(".stand-out", "Person "+plantedPerson)
	p.open("/comparison?by=lot")
	p.waitText("section[aria-labelledby=answer]", "More often over the action level than chance explains: K "+plantedLot+".")
	p.open("/comparison?by=person")
	p.waitText("section[aria-labelledby=answer]", "More often over the action level than chance explains: person ")
	if code := regexp.MustCompile(`\bC-\d\b`).FindString(p.html()); code != "" {
		t.Errorf("the comparison with people hidden names %s", code)
	}
	p.option("#people", "shown by code")
	p.press(".filter", "Show")
	p.waitText("section[aria-labelledby=answer]", "More often over the action level than chance explains: "+plantedPerson+".")
}

// Codes are in nothing that is sent while people are hidden: no page, no file, and not for those who may
// not see them, who are refused.
func TestPeopleStayHidden(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	b.plant()
	code := regexp.MustCompile(`\b[CT]-\d+\b`)
	pages := []string{"/variation?", "/variation?of=failures&", "/comparison?by=person&"}
	for _, page := range pages {
		for _, role := range []access.Role{access.Lead, access.InfectionPrevention, access.Analyst, access.Auditor} {
			for _, format := range map[access.Role][]string{access.Lead: {"", "format=csv"}, access.Auditor: {""}}[role] {
				a := b.ask(http.MethodGet, page+format, role)
				if found := code.FindString(
					a.body,
				); a.status != http.StatusOK || found != "" ||
					!strings.Contains(a.body, "person 1") && !strings.Contains(a.body, "person 2") {
					t.Errorf("%s%s as %s: status %d, names %q", page, format, role, a.status, found)
				}
			}
			may := role == access.Lead || role == access.InfectionPrevention
			for _, format := range map[bool][]string{true: {"", "&format=csv"}, false: {"", "&format=csv", "&format=xlsx"}}[may] {
				a := b.ask(http.MethodGet, page+"people=shown"+format, role)
				if (a.status == http.StatusOK) != may || !may && (a.status != http.StatusForbidden || code.MatchString(a.body)) {
					t.Errorf("%sshown%s as %s: status %d", page, format, role, a.status)
				}
				if may && !strings.Contains(a.body, plantedPerson) {
					t.Errorf("%sshown%s as %s does not name %s", page, format, role, plantedPerson)
				}
			}
		}
	}
	for path, status := range map[string]int{
		"/variation?without=person:" + plantedPerson: http.StatusForbidden, "/variation?people=perhaps": http.StatusBadRequest,
		"/variation?of=all":     http.StatusBadRequest,
		"/variation?point=none": http.StatusBadRequest, "/variation?without=x": http.StatusBadRequest, "/comparison?by=shift": http.StatusBadRequest,
		"/comparison?least=0": http.StatusBadRequest, "/comparison?point=x": http.StatusBadRequest, "/variation?format=pdf": http.StatusBadRequest,
	} {
		if a := b.ask(http.MethodGet, path, access.Lead); a.status != status {
			t.Errorf("%s: status %d, want %d", path, a.status, status)
		}
	}
	for path, want := range map[string]string{
		"/variation?without=lot:none": "no reading of what is left out", "/variation?scale=system%3Dx%26kit%3Dy": "of this meter system and kit",
		"/variation?from=2020-01-01&to=2020-01-02": "There is no reading in this time", "/comparison?by=meter&least=900": "at least 2 are needed to compare",
	} {
		if a := b.ask(http.MethodGet, path, access.Lead); a.status != http.StatusOK || !strings.Contains(a.body, want) {
			t.Errorf("%s: status %d, want %q", path, a.status, want)
		}
	}
}

// Numbers of people are the same on every page and at every time, and their order is not that of codes.
func TestDisguise(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	b.plant()
	number := func(query string) map[string]string { // by how often and how many
		rows := csvTable(t, b.ask(http.MethodGet, "/comparison?by=person&least=1&format=csv"+query, access.Lead))
		found := map[string]string{}
		for _, r := range rows[1:] {
			found[r[4]+" "+r[5]] = r[3]
		}
		return found
	}
	shown, hidden := number("&people=shown"), number("")
	if !maps.Equal(hidden, number("")) {
		t.Error("the numbers change")
	}
	var codes, labels []string
	for count, code := range shown {
		if strings.HasPrefix(code, "C-") {
			codes = append(codes, code)
			labels = append(labels, hidden[count])
		}
	}
	if len(codes) != 8 || slices.Contains(labels, "") {
		t.Fatalf("%q are %q", codes, labels)
	}
	var d desk.Disguise
	b.look(func(v desk.View) (err error) {
		d, err = v.Records().Disguise(nil)
		return err
	})
	inOrder := true
	for i, code := range codes {
		if d.Of(code) != labels[i] {
			t.Errorf("%s is %s on one page and %s elsewhere", code, labels[i], d.Of(code))
		}
		inOrder = inOrder && d.Of(code) == "person "+code[2:]
	}
	if inOrder {
		t.Error("the numbers are those of the codes")
	}
	if got := d.Of(desk.NotOnRecord); got != desk.NotOnRecord {
		t.Errorf("what is not on record is %q", got)
	}
}

// A page that is not served here is not linked to.
func TestOnward(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example/rinsate")
	if got := b.server.Onward("/nowhere/at/all", nil); got != "" {
		t.Errorf("a page that is not there: %q", got)
	}
	if got, want := b.server.Onward("/scopes", url.Values{"q": {"a b"}}), "/rinsate/scopes?q=a+b"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if got := b.server.TrendHref("L 7/2", "", nil); got != "/rinsate/trends?scope=L+7%2F2" {
		t.Errorf("a scope without a point: %q", got)
	}
}

// The words for where units lie and for conditions are told apart by shape as well as by colour.
func TestMarks(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, o := range quality.Outcomes {
		m := words.US.Verdict(o)
		if m.Word == "" || m.Shape == "" || seen[m.Shape] {
			t.Errorf("%s: %+v", o, m)
		}
		seen[m.Shape] = true
	}
	if beyond(0) != "within" || beyond(2) == beyond(1) || beyond(-2) == beyond(-1) {
		t.Error("limits are not told apart")
	}
	if got := outsideWords([]string{"a", "b"}, []string{"c"}); got != "More often over the action level than chance explains: a, b. Less often: c." {
		t.Error(got)
	}
	p := comparisonPage{By: "lot"}
	p.fill(trend.Funnel{Target: 0.1}, 3, nil)
	if p.Answer.Few != 3 || !strings.HasPrefix(p.Answer.Said, "Nothing lies outside") {
		t.Errorf("%+v", p.Answer)
	}
}
