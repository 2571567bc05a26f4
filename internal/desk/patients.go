package desk

import (
	"errors"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/secret"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// PatientWork is the part of the work with the numbers of patients: each act leaves a record of who did it, when, for which
// use and why, and never of the number.
type PatientWork struct{ *Work }

// OnPatients is the part of the work with the numbers of patients.
func (w *Work) OnPatients() PatientWork { return PatientWork{w} }

// PatientUse is a use of a scope on a patient.
type PatientUse struct {
	ID        ledger.ID    `json:"id"`
	Scope     string       `json:"scope"`
	Start     unit.Instant `json:"start"`
	End       unit.Instant `json:"end,omitzero"`
	Procedure string       `json:"procedure,omitempty"`
	Room      string       `json:"room,omitempty"`
	// EndNotKnown says that nobody can say when it ended.
	EndNotKnown bool `json:"end_not_known,omitempty"`
}

// RevealPatient returns the number of the patient of a use. It is to be shown only once the record of it is stored.
func (w PatientWork) RevealPatient(e Entry, use ledger.ID, why string) (number string, r Receipt, err error) {
	if err := w.may(ToRevealPatient, &e); err != nil {
		return "", r, err
	}
	u, err := w.ofPatient(use, why)
	if err != nil {
		return "", r, err
	}
	if number, err = store.PatientsOf(w.tx).Number(u.Patient); err != nil {
		return "", r, err
	}
	r, err = w.noted(e, record.PatientBody{Act: record.PatientRevealed, Use: use, Scope: u.Scope, Patient: u.Patient, Why: why})
	if err != nil {
		return "", r, err
	}
	return number, r, nil
}

// SoughtPatient are the uses on a patient as they were found. FindPatient alone gives them out, once that is on record.
type SoughtPatient struct {
	number     string
	commitment string
	uses       []PatientUse
}

// SeekPatient looks for all uses of scopes on the patient with a number, which reads all uses on record: so it is no part
// of the work that keeps others from writing.
func SeekPatient(v View, number string) (SoughtPatient, error) {
	found := SoughtPatient{number: number}
	if number == "" {
		return found, invalid("which number? Give the facility's number of the patient")
	}
	var ok bool
	var err error
	if found.commitment, ok, err = store.PatientsOf(v.tx).Find(number); err != nil || !ok {
		return found, err
	}
	err = v.tx.Numbers().Between(record.Use, "", 0, store.Forever, func(k store.Kept) error {
		return fold(k, func(u reprocessing.Use) {
			if u.Patient == found.commitment {
				found.uses = append(found.uses, PatientUse{
					ID: k.ID, Scope: u.Scope, Start: u.Start, End: u.End, EndNotKnown: u.EndNotKnown, Procedure: u.Procedure, Room: u.Room,
				})
			}
		})
	})
	return found, err
}

// FindPatient returns all uses of scopes on the patient that SeekPatient has looked for, the earliest first; none when the
// number was never named here, or was erased. That nobody is found does not show that the patient was never here: uses
// may have been recorded without a patient.
func (w PatientWork) FindPatient(e Entry, found SoughtPatient, why string) (uses []PatientUse, r Receipt, err error) {
	if err := w.may(ToFindPatient, &e); err != nil {
		return nil, r, err
	}
	if err := w.statedFor(why); err != nil {
		return nil, r, err
	}
	if found.number == "" {
		return nil, r, invalid("nobody was looked for")
	}
	r, err = w.noted(e, record.PatientBody{Act: record.PatientSought, Patient: found.commitment, Uses: len(found.uses), Why: why})
	if err != nil {
		return nil, r, err
	}
	return found.uses, r, nil
}

// ChangePatientKey seals every patient's number anew with another key, which is on the disk already. Backups of before
// open with the key of before.
func (w PatientWork) ChangePatientKey(e Entry, next secret.Key, why string) (body record.PatientBody, r Receipt, err error) {
	if err := w.may(ToChangePatientKey, &e); err != nil {
		return body, r, err
	}
	if err := w.statedFor(why); err != nil {
		return body, r, err
	}
	body = record.PatientBody{Act: record.PatientResealed, Why: why}
	if body.Sealed, body.Left, err = store.PatientsOf(w.tx).Reseal(next); err != nil {
		return body, r, err
	}
	r, err = w.append(e, record.Patient, w.tx.Now, body)
	return body, r, err
}

// ErasePatient erases the number of the patient of a use for good. What that patient's other uses have in common stays,
// since all of them hold the same commitment; who it was cannot be found out any more.
func (w PatientWork) ErasePatient(e Entry, use ledger.ID, why string) (r Receipt, err error) {
	if err := w.may(ToErasePatient, &e); err != nil {
		return r, err
	}
	u, err := w.ofPatient(use, why)
	if err != nil {
		return r, err
	}
	body := record.PatientBody{Act: record.PatientErased, Use: use, Scope: u.Scope, Patient: u.Patient, Why: why}
	r, err = w.noted(e, body)
	if err != nil || !r.Fresh {
		return r, err
	}
	return r, store.PatientsOf(w.tx).Erase(u.Patient)
}

// noted writes what was done with a patient's number.
func (w PatientWork) noted(e Entry, body record.PatientBody) (Receipt, error) {
	if r, ok, err := again(w.Work, e.ID, record.Patient, func(x record.PatientBody) bool { return x == body }); ok || err != nil {
		return r, err
	}
	return w.append(e, record.Patient, w.tx.Now, body)
}

// ofPatient returns a use that names a patient.
func (w PatientWork) ofPatient(use ledger.ID, why string) (u reprocessing.Use, err error) {
	if err := w.statedFor(why); err != nil {
		return u, err
	}
	k, err := w.tx.Record(use)
	if err != nil {
		return u, err
	}
	if k.Kind() != record.Use {
		return u, invalid("record %s is %s, not a use", use, record.Called(k.Kind()))
	}
	if u, err = record.Body[reprocessing.Use](k.Record); err != nil {
		return u, err
	}
	if u.Patient == "" {
		return u, notFound("", "no patient is named in use %s of %s", use, u.Scope)
	}
	return u, nil
}

// statedFor refuses an act on a patient's number without a reason, and one that would leave no record.
func (w PatientWork) statedFor(why string) error {
	switch {
	case w.dry:
		return invalid("what is done with a patient's number is always on record: there is no dry run of it")
	case strings.TrimSpace(why) == "":
		return &fault.Error{Code: fault.Invalid, Message: "say why: the reason is kept with your name", Hint: "no number and no name of a patient in it"}
	}
	return nil
}

// inherits returns the patient of the use that one finishes or corrects, where that one names none: a look-back must not
// lose a patient because the end was typed without the number.
func inherits(w *Work, ids ...ledger.ID) (commitment string, err error) {
	for _, id := range ids {
		if id == "" {
			continue
		}
		k, err := w.tx.Record(id)
		if fault.CodeOf(err) == fault.NotFound {
			continue // which is refused where it is to be replaced
		}
		if err != nil || k.Kind() != record.Use {
			return "", err
		}
		u, err := record.Body[reprocessing.Use](k.Record)
		if err != nil || u.Patient != "" {
			return u.Patient, err
		}
	}
	return "", nil
}

// commit returns the commitment for a patient, the same one whenever that patient comes again.
func commit(w *Work, patient string) (string, error) {
	if missing, ok := errors.AsType[*fault.Error](w.desk.DB.PatientKey()); ok {
		missing.Message = "the patient's number cannot be kept: " + missing.Message
		missing.Hint += "; until then record the use without the number, and keep that on paper"
		return "", missing
	}
	commitment, ok, err := store.PatientsOf(w.tx).Find(patient)
	if err != nil || ok {
		return commitment, err
	}
	return store.PatientsOf(w.tx).Save(patient)
}
