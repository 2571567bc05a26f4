package web

import (
	"net/http"
	"strings"
	"testing"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store/storetest"
	"rinsate/internal/web/kit"
)

// A scope that becomes one of a simpler model takes a second person on its page, and so does a file that says so: the trial
// asks for them.
func TestLessTakesTwoOnPages(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	for _, role := range []access.Role{access.Lead, access.Administrator} {
		b.session(role)
	}
	const tag = "D-01"
	i, _ := standsOf[scope.Instrument](b, record.Instrument, tag)
	var base string
	b.look(func(v desk.View) error {
		all, err := v.Records().Editions(record.Instrument, tag)
		last, _ := desk.Latest(all)
		base = last.ID
		return err
	})
	form := map[string]string{
		"id": b.newID(), "base": base, "tag": tag, "model": "G1", "owner": "own", "reason": "mistyped",
		"in-service": kit.MomentText(i.InService, b.server.Desk.DB.Zone()),
	}
	got := b.send("/set-up/fleet/"+tag, access.Lead, form)
	if got.status != http.StatusBadRequest || !strings.Contains(got.body, "asks for less than before") || !strings.Contains(got.body, "signs it too") {
		t.Errorf("by one: status %d\n%.2500s", got.status, got.body)
	}
	form["id"], form["second"], form["second-password"] = b.newID(), codeOf(access.Administrator), password
	if got := b.send("/set-up/fleet/"+tag, access.Lead, form); got.status != http.StatusSeeOther {
		t.Errorf("by two: status %d\n%.2500s", got.status, got.body)
	}
	if i, _ := standsOf[scope.Instrument](b, record.Instrument, tag); i.Model != "G1" || i.Second != codeOf(access.Administrator) {
		t.Errorf("%+v", i)
	}

	const header, row = "model,kind,risk,elevator,outer_diameter_mm,sampled_length_mm,channel,diameter_mm,length_mm,port,brushable,flushable,sealed," +
		"cleaning,instructions\n",
		"D1,gastroscope,standard,no,13,100,instrument,4.2,1350,,yes,yes,no,brush and flush,\n"
	u := b.try(b.hand(codeOf(access.Lead), desk.Models, "models.csv", header+row))
	page := b.ask(http.MethodGet, "/imports/"+u.id, access.Lead)
	if !strings.Contains(page.body, "it takes a second person") || !strings.Contains(page.body, `name="second"`) {
		t.Errorf("the trial does not ask for a second person:\n%.3000s", page.body)
	}
	b.act(u, "act=store")
	if st := b.settle(u).now(); st.stage != stageTried {
		t.Errorf("stored by one: %+v", st)
	}
	signed := "act=store&second=" + codeOf(access.Administrator) + "&second-password=" + strings.ReplaceAll(password, " ", "+")
	if a := b.act(u, signed); a.status != http.StatusSeeOther || b.settle(u).now().stage != stageStored {
		t.Errorf("by two: status %d, %+v", a.status, u.now().trial)
	}
}
