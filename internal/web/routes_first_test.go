package web

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/store/storetest"
)

// importMayOpen is about reading files in; see mayOpen.
var importMayOpen = map[string]string{
	"GET /import":                      "LA",
	"GET /import/{kind}":               "LA",
	"GET /import/{kind}/template.csv":  "LA",
	"POST /import/{kind}":              "LA",
	"GET /imports/{file}":              "LA",
	"POST /imports/{file}":             "LA",
	"GET /imports/{file}/lines":        "LA",
	"GET /imports/{file}/profile.yaml": "LA",
}

// importExamples are the pages about reading files in; see examples.
func (b *site) importExamples() []example {
	b.Helper()
	lead := codeOf(access.Lead)
	const columns = "tag,model,owner,in_service\n"
	waits := b.hand(lead, desk.Readings, "foreign.csv", "Gerät;Point;Entnommen;Lot;value\nD-01;außen;02.03.2026 09:23;7;6,5\n")
	good := b.try(b.hand(lead, desk.Fleet, "good.csv", columns+"Z-01,D1,own,2026-01-05T07:00:00+01:00\nD-01,G1,own,2026-01-05T07:00:00+01:00\n"))
	bad := b.try(b.hand(lead, desk.Fleet, "bad.csv", columns+"Z-02,D1,rented,2026-01-05T07:00:00+01:00\nZ-03,none,own,yesterday\n"))
	level := b.try(b.hand(lead, desk.Levels, "level.csv", desk.Example(desk.Levels)))
	done := b.try(b.hand(lead, desk.Meters, "meters.csv", "meter,system\nM-7,A\n"))
	b.server.beginImport(done, b.leads(lead), access.Actor{}, false)
	b.settle(done)
	running := b.hand(lead, desk.People, "people.csv", desk.Example(desk.People))
	running.change(func(st *state) { st.stage = stageTrying })
	b.Cleanup(func() { running.change(func(st *state) { st.stage = stageTried }) })
	of := func(u *upload) string { return "/imports/" + u.id }
	return []example{
		{"import", "/import", "import", http.StatusOK, access.Lead},
		{"import of readings", "/import/readings", "import-kind", http.StatusOK, access.Lead},
		{"import, a file waits", of(waits), "import-file", http.StatusOK, access.Lead},
		{"import, tried", of(good), "import-file", http.StatusOK, access.Lead},
		{"import, refused", of(bad), "import-file", http.StatusOK, access.Lead},
		{"import, to sign", of(level), "import-file", http.StatusOK, access.Lead},
		{"import, under way", of(running), "import-file", http.StatusOK, access.Lead},
		{"import, stored", of(done), "import-file", http.StatusOK, access.Lead},
	}
}

// hand uploads a file as somebody.
func (b *site) hand(by string, kind desk.Kind, name, content string) *upload {
	b.Helper()
	u, err := b.server.imports.add(by, kind, name, strings.NewReader(content))
	if err != nil {
		b.Fatal(err)
	}
	b.server.describe(u, nil)
	return u
}

// try tries a file as it was guessed to be written.
func (b *site) try(u *upload) *upload {
	b.Helper()
	b.server.beginImport(u, b.leads(u.by), access.Actor{}, true)
	return b.settle(u)
}

// settle waits until nothing goes on with a file.
func (b *site) settle(u *upload) *upload {
	b.Helper()
	for ; ; time.Sleep(time.Millisecond) {
		switch st := u.now(); st.stage {
		case stageTrying, stageStoring:
		case stageWaiting, stageTried, stageStored:
			return u
		}
	}
}

// importedFile returns the id of a file of the lead.
func (b *site) importedFile() string {
	b.Helper()
	if all := b.server.imports.of(codeOf(access.Lead)); len(all) > 0 {
		return all[0].id
	}
	return b.hand(codeOf(access.Lead), desk.Meters, "meters.csv", "meter,system\nM-7,A\n").id
}

// What a kind of file needs beyond the fleet.
func TestWhoMayImport(t *testing.T) {
	b := newSite(t, storetest.NewClock(), "https://test.example")
	for _, c := range []struct {
		kind desk.Kind
		who  string
	}{
		{desk.Models, "LA"},
		{desk.Fleet, "LA"},
		{desk.People, "LA"},
		{desk.Meters, "LA"},
		{desk.Lots, "LA"},
		{desk.Levels, "L"},
		{desk.Targets, "L"},
		{desk.Uses, "L"},
		{desk.Repairs, "L"},
		{desk.Steps, "L"},
		{desk.Readings, "L"},
		{desk.Checks, "L"},
	} {
		for _, l := range letters {
			want := http.StatusForbidden
			if strings.Contains(c.who, l.letter) {
				want = http.StatusOK
			}
			if got := b.ask(http.MethodGet, "/import/"+string(c.kind), l.role).status; got != want {
				t.Errorf("%s as %s: status %d, want %d", c.kind, l.role, got, want)
			}
		}
	}
}

// leads is a person who answers for the room and has just shown who they are.
func (b *site) leads(code string) access.Actor {
	return access.Recognised(code, []access.Role{access.Lead}, access.ByPassword, access.Times{Seen: b.at(), Proved: b.at()})
}
