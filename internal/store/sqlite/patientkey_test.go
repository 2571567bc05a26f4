package sqlite_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"rinsate/internal/base/fault"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite"
	"rinsate/internal/store/sqlite/sqlitetest"
)

// keyed is a folder with numbers, while their key is changed.
type keyed struct {
	*testing.T
	db      *store.DB
	numbers map[string]string // by commitment
	first   []byte
}

func keyedStore(t *testing.T) *keyed {
	t.Helper()
	k := &keyed{T: t, db: open(t, clock), numbers: map[string]string{}}
	for i := range 20 {
		number := fmt.Sprintf("MRN-key-%03d", i)
		k.numbers[save(t, k.db, number)[0]] = number
	}
	k.first = k.file("patients.key")
	return k
}

func (k *keyed) dir() string { return k.db.Home().Dir() }

func (k *keyed) file(name string) []byte {
	k.Helper()
	text, err := os.ReadFile(filepath.Join(k.dir(), name))
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		k.Fatal(err)
	}
	return text
}

// reseal seals all numbers anew with the next key, as far as nothing stops it.
func (k *keyed) reseal() (sealed, left int, err error) {
	k.Helper()
	next, err := sqlite.Folder(k.dir()).NextPatientKey("")
	if err != nil {
		k.Fatal(err)
	}
	err = k.db.Write(k.Context(), func(tx *store.Tx) (err error) {
		sealed, left, err = store.PatientsOf(tx).Reseal(next)
		return err
	})
	return sealed, left, err
}

// readable opens the folder anew, by reading alone and to write, and makes sure that each number opens and is found.
func (k *keyed) readable(when string) {
	k.Helper()
	if err := k.db.Close(); err != nil {
		k.Fatal(err)
	}
	read := func(db *store.DB, how string) {
		k.Helper()
		for c, number := range k.numbers {
			if got, err := numberOf(k, db, c); err != nil || got != number {
				k.Fatalf("%s, %s: %q, %v; want %q", when, how, got, err, number)
			}
			if got, ok, err := found(k, db, number); err != nil || !ok || got != c {
				k.Fatalf("%s, %s: found %q, %v, %v", when, how, got, ok, err)
			}
		}
	}
	looked, err := sqlite.Folder(k.dir()).Look(k.Context(), clock)
	if err != nil {
		k.Fatal(err)
	}
	read(looked, "looked at")
	if err := looked.Close(); err != nil {
		k.Fatal(err)
	}
	if k.db, err = sqlite.Folder(k.dir()).Open(context.Background(), clock); err != nil {
		k.Fatal(err)
	}
	k.Cleanup(func() {
		if err := k.db.Close(); err != nil {
			k.Error(err)
		}
	})
	read(k.db, "opened")
}

// changed makes sure that another key is there, and the first one beside it.
func (k *keyed) changed(when string) {
	k.Helper()
	if now := k.file("patients.key"); bytes.Equal(now, k.first) || len(now) != len(k.first) {
		k.Errorf("%s: the key is %q", when, now)
	}
	if !bytes.Equal(k.file("patients.key.before"), k.first) {
		k.Errorf("%s: the key of before is not kept", when)
	}
	if k.file("patients.key.next") != nil || k.file("patients.key.before-2") != nil {
		k.Errorf("%s: a key is left over", when)
	}
}

func TestKeyIsChanged(t *testing.T) {
	t.Parallel()
	k := keyedStore(t)
	sealed, left, err := k.reseal()
	if err != nil || sealed != len(k.numbers) || left != 0 {
		t.Fatalf("%d sealed, %d left, %v", sealed, left, err)
	}
	// What is open still has the key of before, and neither keeps nor reveals anything.
	if err := k.db.PatientKey(); fault.CodeOf(err) != fault.Busy {
		t.Errorf("still open: %v", err)
	}
	err = k.db.Write(t.Context(), func(tx *store.Tx) error {
		_, err := store.PatientsOf(tx).Save("MRN-later")
		return err
	})
	if fault.CodeOf(err) != fault.Busy {
		t.Errorf("kept under the key of before: %v", err)
	}
	k.readable("changed")
	k.changed("changed")
	// Who comes again is the same patient, and a new one is kept under the new key.
	c := save(t, k.db, "MRN-later")
	k.numbers[c[0]] = "MRN-later"
	k.readable("used")
	// Once more: two keys of before are kept.
	second := k.file("patients.key")
	if _, _, err := k.reseal(); err != nil {
		t.Fatal(err)
	}
	k.readable("changed twice")
	if !bytes.Equal(k.file("patients.key.before"), k.first) || !bytes.Equal(k.file("patients.key.before-2"), second) {
		t.Error("a key of before is lost")
	}
	for _, name := range []string{"patients.key", "patients.key.before", "patients.key.before-2"} {
		if info, err := os.Stat(filepath.Join(k.dir(), name)); err != nil || info.Mode().Perm()&0o077 != 0 && os.PathSeparator == '/' {
			t.Errorf("%s may be read by others: %v, %v", name, info, err)
		}
	}
}

// What stops the change of a key at any moment leaves all numbers to be read, and the change can be finished.
func TestKeyChangeIsStopped(t *testing.T) {
	t.Parallel()
	broken := errors.New("stopped")
	for name, stop := range map[string]func(*keyed){
		"while the next key is written": func(k *keyed) {
			if err := os.WriteFile(filepath.Join(k.dir(), "patients.key.next.new"), k.first[:20], 0o600); err != nil {
				k.Fatal(err)
			}
		},
		"before anything is sealed anew": func(k *keyed) {
			if _, err := sqlite.Folder(k.dir()).NextPatientKey(""); err != nil {
				k.Fatal(err)
			}
		},
		"while they are sealed anew": func(k *keyed) {
			next, err := sqlite.Folder(k.dir()).NextPatientKey("")
			if err != nil {
				k.Fatal(err)
			}
			err = k.db.Write(k.Context(), func(tx *store.Tx) error {
				if _, _, err := store.PatientsOf(tx).Reseal(next); err != nil {
					k.Fatal(err)
				}
				return broken
			})
			if !errors.Is(err, broken) || k.db.PatientKey() != nil {
				k.Fatalf("%v, %v", err, k.db.PatientKey())
			}
		},
		"by the database": func(k *keyed) {
			raw := sqlitetest.Raw(k, k.db.Home())
			if _, err := raw.ExecContext(k.Context(), `CREATE TRIGGER fault BEFORE UPDATE ON patient_number WHEN old.place = 11
				BEGIN SELECT RAISE(ABORT, 'injected'); END`); err != nil {
				k.Fatal(err)
			}
			if _, _, err := k.reseal(); err == nil || k.db.PatientKey() != nil {
				k.Fatalf("%v, %v", err, k.db.PatientKey())
			}
			if _, err := raw.ExecContext(k.Context(), `DROP TRIGGER fault`); err != nil {
				k.Fatal(err)
			}
		},
		"by a number that another program changed": func(k *keyed) {
			raw := sqlitetest.Raw(k, k.db.Home())
			run := func(text string) {
				if _, err := raw.ExecContext(k.Context(), text); err != nil {
					k.Fatal(err)
				}
			}
			run(`CREATE TABLE aside AS SELECT * FROM patient_number`)
			run(`UPDATE patient_number SET sealed = CAST(substr(sealed, 1, 40) || x'00' || substr(sealed, 42) AS BLOB) WHERE place = 11`)
			if _, _, err := k.reseal(); fault.CodeOf(err) != fault.Conflict {
				k.Fatalf("a changed number was sealed anew: %v", err)
			}
			run(`UPDATE patient_number SET sealed = (SELECT a.sealed FROM aside a WHERE a.place = 11) WHERE place = 11`)
			run(`DROP TABLE aside`)
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := keyedStore(t)
			stop(k)
			k.readable("stopped")
			if !bytes.Equal(k.file("patients.key"), k.first) || k.file("patients.key.before") != nil {
				t.Error("the key has changed although nothing lies under another")
			}
			if sealed, left, err := k.reseal(); err != nil || sealed != len(k.numbers) || left != 0 {
				t.Fatalf("done again: %d, %d, %v", sealed, left, err)
			}
			k.readable("done again")
			k.changed("done again")
		})
	}
	// Once the numbers lie under the next key, whatever was done of the rest is done by the next start.
	for name, stop := range map[string]func(*keyed){
		"before the key of before is kept": func(*keyed) {},
		"while it is kept": func(k *keyed) {
			if err := os.WriteFile(filepath.Join(k.dir(), "patients.key.before.new"), k.first[:20], 0o600); err != nil {
				k.Fatal(err)
			}
		},
		"before the next one has its name": func(k *keyed) {
			if err := os.WriteFile(filepath.Join(k.dir(), "patients.key.before"), k.first, 0o600); err != nil {
				k.Fatal(err)
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := keyedStore(t)
			if _, _, err := k.reseal(); err != nil {
				t.Fatal(err)
			}
			stop(k)
			k.readable("stopped")
			k.changed("stopped")
		})
	}
}

// Where the folder cannot be written to the numbers are read with the next key, and a later start gives it its name.
func TestKeyThatCannotBeNamed(t *testing.T) {
	t.Parallel()
	k := keyedStore(t)
	if _, _, err := k.reseal(); err != nil {
		t.Fatal(err)
	}
	before := filepath.Join(k.dir(), "patients.key.before")
	if err := os.Mkdir(before, 0o700); err != nil { // nothing can be kept under that name
		t.Fatal(err)
	}
	k.readable("not named")
	if !bytes.Equal(k.file("patients.key"), k.first) {
		t.Error("the key was written over, and the one of before is nowhere")
	}
	if err := os.Remove(before); err != nil {
		t.Fatal(err)
	}
	k.readable("named")
	k.changed("named")
}

// A number under a key that is not there stays as it is, an erased one stays erased, and without a number there is
// nothing to seal.
func TestNothingToSealAnew(t *testing.T) {
	t.Parallel()
	k := &keyed{T: t, db: open(t, clock), numbers: map[string]string{}}
	k.first = k.file("patients.key")
	if _, _, err := k.reseal(); fault.CodeOf(err) != fault.NotFound {
		t.Errorf("without a number: %v", err)
	}
	c := save(t, k.db, "MRN-1", "MRN-2")
	err := k.db.Write(t.Context(), func(tx *store.Tx) error { return store.PatientsOf(tx).Erase(c[1]) })
	if err != nil {
		t.Fatal(err)
	}
	if sealed, left, err := k.reseal(); err != nil || sealed != 1 || left != 0 {
		t.Errorf("one of two is erased: %d, %d, %v", sealed, left, err)
	}
	k.numbers[c[0]] = "MRN-1"
	k.readable("changed")
	if _, err := numberOf(t, k.db, c[1]); fault.CodeOf(err) != fault.NotFound {
		t.Errorf("erased: %v", err)
	}
	// Another key, made because that one was lost: what lies under the lost one stays there.
	if err := os.Remove(filepath.Join(k.dir(), "patients.key")); err != nil {
		t.Fatal(err)
	}
	if _, err := sqlite.Folder(k.dir()).MakePatientKey(""); err != nil {
		t.Fatal(err)
	}
	k.db = reopen(t, k.db, k.db.Home())
	if _, _, err := k.reseal(); fault.CodeOf(err) != fault.NotFound {
		t.Errorf("only under a lost key: %v", err)
	}
	save(t, k.db, "MRN-3")
	if sealed, left, err := k.reseal(); err != nil || sealed != 1 || left != 1 {
		t.Errorf("one of two under a lost key: %d, %d, %v", sealed, left, err)
	}
}
