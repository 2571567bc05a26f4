package store

import (
	"crypto/rand"
	"crypto/subtle"
	"database/sql"
	"errors"
	"fmt"
	"slices"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/secret"
)

// saltOfPatient is how many random bytes stand before a patient's number in its commitment.
const saltOfPatient = 2 * ledger.SaltSize

// Patients are the numbers of patients in a transaction.
type Patients struct{ tx *Tx }

// PatientsOf returns the numbers of patients in a transaction.
func PatientsOf(tx *Tx) Patients { return Patients{tx} }

// readPatientKey reads the key of the patients' numbers. Without it everything else works: what it would be needed for
// says so.
func readPatientKey(db *DB) {
	text, err := db.engine.PatientKey()
	if err == nil {
		db.patients, err = secret.Parse(text)
	}
	db.noPatients = err
}

// PatientKey says why patients' numbers can be neither kept nor revealed; nil when they can.
func (db *DB) PatientKey() error {
	if db.otherKey.Load() {
		return &fault.Error{
			Code: fault.Busy, Message: "the patients' numbers were sealed anew with another key", Hint: "start the program anew, which then uses that key",
		}
	}
	if db.noPatients == nil {
		return nil
	}
	return &fault.Error{
		Code: fault.NotFound, Message: fmt.Sprintf("the key of the patients' numbers is not there: %v", db.noPatients),
		Hint: "put the file back from where it is kept, or name it with --patient-key; only when it is lost for good make another with: " +
			"rinsate patient key --new (what was sealed with the lost one stays sealed)",
		Cause: db.noPatients,
	}
}

// Find returns the commitment that stands for a patient, ok = false when the patient was never named here or was
// erased.
func (p Patients) Find(number string) (commitment string, ok bool, err error) {
	if err := p.tx.db.PatientKey(); err != nil {
		return "", false, err
	}
	err = p.tx.s.Row(p.tx.ctx, `SELECT commitment FROM patient_number WHERE site = $1 AND finder = $2`,
		p.tx.db.site.Code, p.tx.db.patients.Find(number, p.tx.db.site.Code)).Scan(&commitment)
	if errors.Is(err, sql.ErrNoRows) {
		return "", false, nil
	}
	if err != nil {
		return "", false, err
	}
	found, err := p.Number(commitment)
	if err == nil && subtle.ConstantTimeCompare([]byte(found), []byte(number)) != 1 {
		err = changedPatient(secret.ErrChanged)
	}
	return commitment, err == nil, err
}

// Save keeps a patient's number outside of the ledger, sealed, and returns the commitment that stands for it.
func (p Patients) Save(number string) (commitment string, err error) {
	if err := p.tx.db.PatientKey(); err != nil {
		return "", err
	}
	salt := make([]byte, saltOfPatient)
	if _, err := rand.Read(salt); err != nil {
		return "", err
	}
	commitment = ledger.Commit(salt, number)
	s, err := SealPatient(p.tx.db.patients, p.tx.db.site.Code, commitment, salt, number)
	if err != nil {
		return "", err
	}
	_, err = p.tx.s.Exec(p.tx.ctx, `INSERT INTO patient_number (site, commitment, finder, sealed) VALUES ($1, $2, $3, $4)`,
		p.tx.db.site.Code, commitment, s.Finder, s.Sealed)
	return commitment, err
}

// SealedPatient is how a patient's number is kept.
type SealedPatient struct {
	// Finder is by what the same number is found again.
	Finder []byte
	// Sealed is the number after the salt of its commitment, bound to both site and commitment.
	Sealed []byte
}

// SealPatient seals what a commitment stands for.
func SealPatient(key secret.Key, site, commitment string, salt []byte, number string) (s SealedPatient, err error) {
	s.Finder = key.Find(number, site)
	s.Sealed, err = key.Seal(rand.Reader, append(slices.Clip(salt), number...), site, commitment)
	return s, err
}

// Number returns the number that a commitment stands for: NotFound when it was erased or was never kept here, or when the key is
// not the one that it was sealed with.
func (p Patients) Number(commitment string) (number string, err error) {
	if err := p.tx.db.PatientKey(); err != nil {
		return "", err
	}
	var finder, closed []byte
	err = p.tx.s.Row(p.tx.ctx, `SELECT finder, sealed FROM patient_number WHERE site = $1 AND commitment = $2`, p.tx.db.site.Code, commitment).
		Scan(&finder, &closed)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return "", &fault.Error{
			Code: fault.NotFound, Message: "the patient's number is not in this database",
			Hint: "it was deleted with another program, or the database was restored from a copy without it",
		}
	case err != nil:
		return "", err
	case finder == nil:
		return "", &fault.Error{Code: fault.NotFound, Message: "the patient's number was erased"}
	}
	plain, err := p.tx.db.patients.Open(closed, p.tx.db.site.Code, commitment)
	if errors.Is(err, secret.ErrOtherKey) {
		return "", &fault.Error{
			Code: fault.NotFound, Message: "the patient's number was sealed with another key than the one that is there", Cause: err,
			Hint: "name the file of the key that was used then with --patient-key",
		}
	}
	if err != nil || len(plain) < saltOfPatient || !ledger.CheckCommitment(commitment, plain[:saltOfPatient], string(plain[saltOfPatient:])) {
		return "", changedPatient(err)
	}
	return string(plain[saltOfPatient:]), nil
}

// changedPatient is the answer where what is kept of a patient is not what was kept.
func changedPatient(cause error) error {
	return &fault.Error{
		Code: fault.Conflict, Message: "what is kept of the patient was changed with another program: it is not the number that the record was made with",
		Hint: "restore the database from a backup of before, and find out who can write to it", Cause: cause,
	}
}

// Reseal seals every number anew with another key, in this transaction: all of them or none, so that at no moment some
// lie under one key and some under the other. It returns how many those are, and how many stay as they are, since they
// were sealed with a key before the one that is there. A number that was changed with another program is refused. From
// then on this DB keeps and reveals no numbers: whoever opens the records anew uses the other key.
func (p Patients) Reseal(next secret.Key) (sealed, left int, err error) {
	if p.tx.write == nil {
		return 0, 0, errors.New("numbers are sealed anew in a reading transaction")
	}
	if err := p.tx.db.PatientKey(); err != nil {
		return 0, 0, err
	}
	site := p.tx.db.site.Code
	type row struct {
		commitment string
		closed     []byte
	}
	var all []row
	err = p.tx.s.Each(p.tx.ctx, `SELECT commitment, sealed FROM patient_number WHERE site = $1 AND finder IS NOT NULL ORDER BY commitment`,
		func(r Rows) error {
			var x row
			err := r.Scan(&x.commitment, &x.closed)
			all = append(all, x)
			return err
		}, site)
	if err != nil {
		return 0, 0, err
	}
	for _, x := range all {
		plain, err := p.tx.db.patients.Open(x.closed, site, x.commitment)
		if errors.Is(err, secret.ErrOtherKey) {
			left++
			continue
		}
		if err != nil || len(plain) < saltOfPatient || !ledger.CheckCommitment(x.commitment, plain[:saltOfPatient], string(plain[saltOfPatient:])) {
			return 0, 0, changedPatient(err)
		}
		s, err := SealPatient(next, site, x.commitment, plain[:saltOfPatient], string(plain[saltOfPatient:]))
		if err != nil {
			return 0, 0, err
		}
		if _, err := p.tx.s.Exec(p.tx.ctx, `UPDATE patient_number SET finder = $1, sealed = $2 WHERE site = $3 AND commitment = $4`,
			s.Finder, s.Sealed, site, x.commitment); err != nil {
			return 0, 0, err
		}
		sealed++
	}
	if sealed == 0 {
		return 0, left, &fault.Error{
			Code: fault.NotFound, Message: "no patient's number is sealed with the key that is there: there is nothing to seal anew",
			Hint: "where no number was kept yet, move the file of the key away and make another with: rinsate patient key --new",
		}
	}
	p.tx.write.erased, p.tx.write.resealed = true, true // nothing of what lay under the old key stays in the log
	return sealed, left, nil
}

// Erase overwrites a patient's number with zeros where it stands. Its commitments stay in the ledger and tell nothing
// any more; the same patient gets another one when they come again. After the commit scrub overwrites what is left in the
// write-ahead log.
func (p Patients) Erase(commitment string) error {
	if p.tx.write == nil {
		return errors.New("erasure in a reading transaction")
	}
	n, err := p.tx.s.Exec(p.tx.ctx, `UPDATE patient_number SET finder = NULL, sealed = zeroblob(length(sealed)) WHERE site = $1 AND commitment = $2
		AND finder IS NOT NULL`, p.tx.db.site.Code, commitment)
	if err != nil {
		return err
	}
	if n != 1 {
		return &fault.Error{Code: fault.NotFound, Message: "there is no number of a patient to erase: it was erased before, or was never kept here"}
	}
	p.tx.write.erased = true
	return nil
}
