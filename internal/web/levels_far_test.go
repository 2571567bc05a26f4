package web

import (
	"maps"
	"net/http"
	"strings"
	"testing"
	"time"

	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reading"
	"rinsate/internal/record"
	"rinsate/internal/store/storetest"
)

// A level far over what is published takes a second person on its page, and one that no meter can show is refused.
func TestLevelFarOverThePublished(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	for _, role := range []access.Role{access.Lead, access.InfectionPrevention} {
		b.session(role)
	}
	form := func(change map[string]string) map[string]string {
		fields := map[string]string{
			"id": b.newID(), "system": "A", "kit": "far", "point": "outer-distal-end", "analyte": "atp", "unit": "RLU", "action": "5000",
			"comparison": "at-or-over", "source": "instructions of the kit", "edition": "1", "secret": password,
		}
		maps.Copy(fields, change)
		return fields
	}
	for _, test := range []struct {
		name   string
		change map[string]string
		status int
		want   string
	}{
		{"one person", nil, http.StatusBadRequest, "allowed for one person: at most 2000 RLU"},
		{"oneself", map[string]string{"second": codeOf(access.Lead), "second-password": password}, http.StatusBadRequest, "must be somebody else"},
		{"nothing", map[string]string{"action": "0"}, http.StatusBadRequest, "must be over 0"},
		{"more than a meter shows", map[string]string{"action": "99999999"}, http.StatusBadRequest, "at most 9999999 RLU"},
		{"alert over action", map[string]string{"action": "100", "alert": "101"}, http.StatusBadRequest, "nor over the action level 100"},
		{
			"a guess",
			map[string]string{"second": codeOf(access.InfectionPrevention), "second-password": "a guess in the dark"},
			http.StatusForbidden,
			"Second person: ",
		},
	} {
		got := b.send("/set-up/levels", access.Lead, form(test.change))
		if got.status != test.status || !strings.Contains(got.body, test.want) {
			t.Errorf("%s: status %d, want %d with %q:\n%.2500s", test.name, got.status, test.status, test.want, got.body)
		}
		if strings.Contains(got.body, password) {
			t.Errorf("%s: the page shows a password", test.name)
		}
	}
	b.clock.Move(time.Minute) // after a guess the next one has to wait
	agreed := map[string]string{"second": codeOf(access.InfectionPrevention), "second-password": password}
	if got := b.send("/set-up/levels", access.Lead, form(agreed)); got.status != http.StatusSeeOther {
		t.Fatalf("by two: status %d\n%.2500s", got.status, got.body)
	}
	l, n := standsOf[reading.Level](b, record.Level, "A|far|outer-distal-end||atp")
	if n != 1 || l.Action != 5000 || l.Second != codeOf(access.InfectionPrevention) {
		t.Errorf("%d editions, the last %+v", n, l)
	}
}
