package web

import (
	"maps"
	"net/http"
	"strings"
	"testing"

	"rinsate/internal/domain/access"
	"rinsate/internal/store/storetest"
)

// Infection prevention reveals, finds and erases the number of a patient, each with a reason, a signature and a record; the
// number is on no page before and after.
func TestPatientsNumbers(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	for _, role := range []access.Role{access.InfectionPrevention, access.Lead} {
		b.session(role)
	}
	use := b.patientUse()
	if page := b.ask(http.MethodGet, "/records/"+use, access.Lead).body; strings.Contains(page, "/patient") {
		t.Error("the lead is offered the patient")
	}
	if page := b.ask(http.MethodGet, "/records/"+use, access.InfectionPrevention).body; !strings.Contains(page, "/records/"+use+"/patient") {
		t.Error("infection prevention is not offered the patient")
	}
	b.clock.Move(access.ProofHolds)
	send := func(at string, role access.Role, change map[string]string) (status int, page string) {
		t.Helper()
		b.clock.Move(1) // a moment
		fields := map[string]string{"id": b.newID(), "why": "look-back after a culture", "secret": password}
		maps.Copy(fields, change)
		got := b.send(at, role, fields)
		b.keep(role, got)
		return got.status, got.body
	}
	reveal, erase := "/records/"+use+"/patient", "/records/"+use+"/patient/erase"
	before := b.total()
	for _, test := range []struct {
		name, at string
		role     access.Role
		change   map[string]string
		status   int
		want     string
	}{
		{"the lead", reveal, access.Lead, nil, http.StatusForbidden, "not for your roles"},
		{"not signed", reveal, access.InfectionPrevention, map[string]string{"secret": ""}, http.StatusForbidden, "This is a signature."},
		{"no reason", reveal, access.InfectionPrevention, map[string]string{"why": " "}, http.StatusBadRequest, "say why"},
		{"no reason to erase", erase, access.InfectionPrevention, map[string]string{"why": ""}, http.StatusBadRequest, "say why"},
		{"no reason to find", "/patients", access.InfectionPrevention, map[string]string{"why": "", "number": inUsePatient}, http.StatusBadRequest, "say why"},
		{"no number", "/patients", access.InfectionPrevention, map[string]string{"number": ""}, http.StatusBadRequest, "which number"},
	} {
		status, page := send(test.at, test.role, test.change)
		if status != test.status || !strings.Contains(strings.ToLower(page), strings.ToLower(test.want)) {
			t.Errorf("%s: status %d, want %d with %q:\n%.2000s", test.name, status, test.status, test.want, page)
		}
		if strings.Contains(page, inUsePatient) || strings.Contains(page, password) || b.total() != before {
			t.Errorf("%s: something is shown or stored", test.name)
		}
	}
	status, page := send(reveal, access.InfectionPrevention, nil)
	if status != http.StatusOK || !strings.Contains(page, "<b>"+inUsePatient+"</b>") || b.total() != before+1 {
		t.Errorf("revealed: status %d, %d records\n%s", status, b.total()-before, page)
	}
	status, page = send("/patients", access.InfectionPrevention, map[string]string{"number": " " + inUsePatient + " "})
	if status != http.StatusOK || !strings.Contains(page, "/records/"+use) || strings.Contains(page, inUsePatient) || b.total() != before+2 {
		t.Errorf("found: status %d\n%s", status, page)
	}
	_, page = send("/patients", access.InfectionPrevention, map[string]string{"number": "MRN-9"})
	if !strings.Contains(page, "No use is on record with that number") {
		t.Errorf("nobody: %s", page)
	}
	for _, at := range []string{"/records/" + use, reveal, "/patients", "/records?scope=" + inUseScope} {
		if page := b.ask(http.MethodGet, at, access.InfectionPrevention).body; strings.Contains(page, inUsePatient) {
			t.Errorf("%s shows the number", at)
		}
	}
	if page := b.ask(http.MethodGet, "/records/"+use, access.InfectionPrevention).body; !strings.Contains(page, "number revealed") {
		t.Error("the use does not show that its patient was revealed")
	}
	if status, page := send(erase, access.InfectionPrevention, nil); status != http.StatusOK || !strings.Contains(page, "erased for good") {
		t.Errorf("erased: status %d\n%s", status, page)
	}
	if status, page := send(reveal, access.InfectionPrevention, nil); status != http.StatusNotFound || !strings.Contains(page, "was erased") {
		t.Errorf("revealed afterwards: status %d\n%s", status, page)
	}
}
