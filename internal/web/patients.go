package web

import (
	"net/http"
	"strings"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/text"
	"rinsate/internal/desk"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/web/kit"
)

// patientPages are those with the numbers of patients.
type patientPages struct{ *Server }

// patientPage reveals or erases the number of the patient of a use. A number is shown in the answer to the form that
// asked for it, once that is on record, and at no address.
type patientPage struct {
	Scope, Words, Record string
	// Number is what was asked for, Erased says that it is gone.
	Number string
	Erased bool
	// Missing says why nothing can be revealed; empty when it can.
	Missing       string
	Reveal, Erase *kit.Form
	Prove         bool
}

// patientsPage lists the uses on a patient.
type patientsPage struct {
	Missing string
	Form    *kit.Form
	Prove   bool
	// Asked says that uses were looked for, in which case those found are Uses.
	Asked bool
	Uses  []patientUseLine
}

type patientUseLine struct{ Href, Scope, ScopeHref, Begun, Ended, Procedure, Room string }

// patientHref is where the number of the patient of a use is revealed; empty where none is named, or for whoever may not.
func (s patientPages) patientHref(x *kit.Exchange, l desk.Line) string {
	if l.Type != record.Use || !x.Actor().May(desk.ToRevealPatient) {
		return ""
	}
	u, err := desk.BodyOf[reprocessing.Use](desk.Edition{Line: l})
	if err != nil || u.Patient == "" {
		return ""
	}
	return s.RecordHref(l.ID) + "/patient"
}

// keyMissing says why numbers can be neither revealed nor found.
func (s patientPages) keyMissing(x *kit.Exchange) string {
	err := s.Desk.DB.PatientKey()
	if err == nil {
		return ""
	}
	shown := x.Shown(err)
	return strings.TrimSpace(shown.Message + " " + shown.Hint)
}

func (s patientPages) patient(x *kit.Exchange) error {
	return s.patientPage(x, http.StatusOK, kit.Sent{}, patientPage{})
}

// patientPage shows the page, with a form that was sent and not accepted.
func (s patientPages) patientPage(x *kit.Exchange, status int, was kit.Sent, page patientPage) error {
	var line desk.Line
	err := s.View(x.R.Context(), func(v desk.View) (err error) {
		line, err = v.Show(x.R.PathValue("id"))
		if err == nil {
			page.Scope, page.Words = line.Scope(), line.At.In(v.Zone())
		}
		return err
	})
	if err != nil {
		return err
	}
	if s.patientHref(x, line) == "" {
		return kit.NotHere("No patient is named in this record.")
	}
	page.Record, page.Missing, page.Prove = s.RecordHref(line.ID), s.keyMissing(x), x.Unsigned()
	page.Reveal, page.Erase = x.Form(was, "reveal"), x.Form(was, "erase")
	return x.Show(status, "patient", false, page)
}

// revealPatient answers with the number of the patient of a use.
func (s patientPages) revealPatient(x *kit.Exchange) error {
	var page patientPage
	return s.onPatient(x, "reveal", &page, func(w *desk.Work, e desk.Entry, id ledger.ID, why string) (err error) {
		page.Number, _, err = w.OnPatients().RevealPatient(e, id, why)
		return err
	})
}

// erasePatient erases the number of the patient of a use.
func (s patientPages) erasePatient(x *kit.Exchange) error {
	page := patientPage{Erased: true}
	return s.onPatient(x, "erase", &page, func(w *desk.Work, e desk.Entry, id ledger.ID, why string) error {
		_, err := w.OnPatients().ErasePatient(e, id, why)
		return err
	})
}

// onPatient does something with the number of the patient of a use and shows the page with what came of it.
func (s patientPages) onPatient(x *kit.Exchange, name string, page *patientPage, do func(*desk.Work, desk.Entry, ledger.ID, string) error) error {
	f := x.Read("why")
	err := s.signedOnPatient(x, f, func(w *desk.Work, e desk.Entry) error {
		line, err := w.Show(x.R.PathValue("id"))
		if err != nil {
			return err
		}
		return do(w, e, ledger.ID(line.ID), f.Typed["why"])
	})
	if err == nil {
		return s.patientPage(x, http.StatusOK, kit.Sent{}, *page)
	}
	status, words, ok := kit.Refused(x, err)
	if !ok {
		return err
	}
	f.Problem = words
	return s.patientPage(x, status, kit.Sent{Name: name, Form: f}, patientPage{})
}

// signedOnPatient does something with a patient's number, for which whoever does it signs.
func (s patientPages) signedOnPatient(x *kit.Exchange, f kit.Form, do func(*desk.Work, desk.Entry) error) error {
	e, err := x.Entry(f)
	if err != nil {
		return err
	}
	if err := x.Sign(x.R.PostFormValue("secret")); err != nil {
		return err
	}
	return x.Acting().Do(x.R.Context(), func(w *desk.Work) error { return do(w, e) })
}

func (s patientPages) patients(x *kit.Exchange) error {
	return s.patientsPage(x, http.StatusOK, kit.Sent{}, patientsPage{})
}

func (s patientPages) patientsPage(x *kit.Exchange, status int, was kit.Sent, page patientsPage) error {
	page.Missing, page.Form, page.Prove = s.keyMissing(x), x.Form(was, "uses"), x.Unsigned()
	return x.Show(status, "patients", false, page)
}

// findPatient answers with all uses on the patient with a number.
func (s patientPages) findPatient(x *kit.Exchange) error {
	f := x.Read("why") // the number is shown again to nobody
	page := patientsPage{Asked: true}
	var found desk.SoughtPatient
	err := s.View(x.R.Context(), func(v desk.View) (err error) {
		found, err = desk.SeekPatient(v, strings.TrimSpace(x.R.PostFormValue("number")))
		return err
	})
	if err == nil {
		err = s.foundPatient(x, f, found, &page)
	}
	if err == nil {
		return s.patientsPage(x, http.StatusOK, kit.Sent{}, page)
	}
	status, words, ok := kit.Refused(x, err)
	if !ok {
		return err
	}
	f.Problem = words
	return s.patientsPage(x, status, kit.Sent{Name: "uses", Form: f}, patientsPage{})
}

// foundPatient puts on record that somebody looked for the uses on a patient, and only then shows them.
func (s patientPages) foundPatient(x *kit.Exchange, f kit.Form, found desk.SoughtPatient, page *patientsPage) error {
	return s.signedOnPatient(x, f, func(w *desk.Work, e desk.Entry) error {
		uses, _, err := w.OnPatients().FindPatient(e, found, f.Typed["why"])
		for _, u := range uses {
			line := patientUseLine{
				Href: s.RecordHref(string(u.ID)), Scope: u.Scope, ScopeHref: s.ScopeHref(u.Scope), Begun: u.Start.In(w.Zone()), Ended: "not on record",
				Procedure: text.Spaced(u.Procedure), Room: u.Room,
			}
			if u.EndNotKnown {
				line.Ended = "not known"
			}
			if u.End.Known() {
				line.Ended = u.End.In(w.Zone())
			}
			page.Uses = append(page.Uses, line)
		}
		return err
	})
}
