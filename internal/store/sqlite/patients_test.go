package sqlite_test

import (
	"context"
	"crypto/rand"
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite"
	"rinsate/internal/store/sqlite/sqlitetest"
	"rinsate/internal/store/storetest"
)

// save keeps the numbers of patients and returns the commitments that stand for them.
func save(tb testing.TB, db *store.DB, numbers ...string) (commitments []string) {
	tb.Helper()
	err := db.Write(context.Background(), func(tx *store.Tx) error {
		for _, n := range numbers {
			c, err := store.PatientsOf(tx).Save(n)
			if err != nil {
				return err
			}
			commitments = append(commitments, c)
		}
		return nil
	})
	if err != nil {
		tb.Fatal(err)
	}
	return commitments
}

// numberOf returns what a commitment stands for, and what it is found by.
func numberOf(tb testing.TB, db *store.DB, commitment string) (number string, err error) {
	tb.Helper()
	storetest.Read(tb, db, func(tx *store.Tx) error {
		number, err = store.PatientsOf(tx).Number(commitment)
		return nil
	})
	return number, err
}

func found(tb testing.TB, db *store.DB, number string) (commitment string, ok bool, err error) {
	tb.Helper()
	storetest.Read(tb, db, func(tx *store.Tx) error {
		commitment, ok, err = store.PatientsOf(tx).Find(number)
		return nil
	})
	return commitment, ok, err
}

func reopen(tb testing.TB, db *store.DB, home store.Home) *store.DB {
	tb.Helper()
	if err := db.Close(); err != nil {
		tb.Fatal(err)
	}
	again, err := home.Open(context.Background(), clock)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := again.Close(); err != nil {
			tb.Error(err)
		}
	})
	return again
}

const aNumber = "MRN-2063-0815-42"

// No file of the folder holds a number, while the database is open and afterwards; the same patient is found again.
func TestNumbersAreSealed(t *testing.T) {
	t.Parallel()
	db := open(t, clock)
	c := save(t, db, aNumber, "2")
	if names := inFiles(t, db.Home().Dir(), aNumber); len(names) > 0 {
		t.Errorf("the number stands in %v", names)
	}
	db = reopen(t, db, db.Home())
	if got, err := numberOf(t, db, c[0]); err != nil || got != aNumber {
		t.Errorf("the number is %q, %v", got, err)
	}
	if got, ok, err := found(t, db, aNumber); err != nil || !ok || got != c[0] {
		t.Errorf("found again: %q, %v, %v", got, ok, err)
	}
	if _, ok, err := found(t, db, "3"); ok || err != nil {
		t.Errorf("somebody else is found: %v", err)
	}
	if _, err := numberOf(t, db, "none"); fault.CodeOf(err) != fault.NotFound {
		t.Errorf("of no commitment: %v", err)
	}
	if names := inFiles(t, db.Home().Dir(), aNumber); len(names) > 0 {
		t.Errorf("the number stands in %v", names)
	}
	if info, err := os.Stat(filepath.Join(db.Home().Dir(), "patients.key")); err != nil || info.Mode().Perm()&0o077 != 0 && os.PathSeparator == '/' {
		t.Errorf("the key: %v, %v", info.Mode(), err)
	}
}

// plainTable is the table in which an earlier build kept the numbers.
const plainTable = `CREATE TABLE patient (site TEXT NOT NULL, commitment TEXT NOT NULL, salt BLOB NOT NULL, value TEXT NOT NULL,
	PRIMARY KEY (site, commitment)) STRICT, WITHOUT ROWID`

// An earlier build kept the numbers as they are. They are sealed when the folder is opened, and no byte of them is left, not even of
// those that were deleted before; what stops it half-way is done again.
func TestPlainNumbersAreSealed(t *testing.T) {
	t.Parallel()
	for _, half := range []bool{false, true} {
		db := open(t, clock)
		home := db.Home()
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
		raw := sqlitetest.Raw(t, home)
		run := func(text string, args ...any) {
			t.Helper()
			if _, err := raw.ExecContext(t.Context(), text, args...); err != nil {
				t.Fatalf("%s: %v", text, err)
			}
		}
		run(`DROP TABLE patient_number`)
		run(`DROP INDEX event_emergency`) // which came later, as did this
		run(`DROP TABLE disinfected`)
		run(`DELETE FROM goose_db_version WHERE version_id >= 17`)
		run(plainTable)
		run(`CREATE UNIQUE INDEX patient_value ON patient (site, value)`)
		if err := os.Remove(filepath.Join(home.Dir(), "patients.key")); err != nil {
			t.Fatal(err)
		}
		want := map[string]string{}
		for i := range 500 {
			number := fmt.Sprintf("MRN-plain-%05d", i)
			salt := make([]byte, 32)
			if _, err := rand.Read(salt); err != nil {
				t.Fatal(err)
			}
			commitment := ledger.Commit(salt, number)
			run(`INSERT INTO patient VALUES ('S1', $1, $2, $3)`, commitment, salt, number)
			if i%3 == 0 {
				run(`DELETE FROM patient WHERE commitment = $1`, commitment)
			} else {
				want[commitment] = number
			}
		}
		if names := inFiles(t, home.Dir(), "MRN-plain-"); len(names) == 0 {
			t.Fatal("there is nothing to be found")
		}
		if half { // it stopped after the numbers were sealed and before the database was written anew
			interrupt(t, home, raw)
		}
		if err := raw.Close(); err != nil {
			t.Fatal(err)
		}
		again, err := home.Open(context.Background(), clock)
		if err != nil {
			t.Fatal(err)
		}
		if !half {
			for c, number := range want {
				if got, err := numberOf(t, again, c); err != nil || got != number {
					t.Fatalf("%s: %q, %v; want %q", c, got, err, number)
				}
			}
		}
		if names := inFiles(t, home.Dir(), "MRN-plain-"); len(names) > 0 {
			t.Errorf("half-way %v: numbers stand in %v while it is open", half, names)
		}
		if err := again.Close(); err != nil {
			t.Fatal(err)
		}
		if names := inFiles(t, home.Dir(), "MRN-plain-"); len(names) > 0 {
			t.Errorf("half-way %v: numbers stand in %v", half, names)
		}
		if v, err := home.Verify(context.Background(), nil, nil); err != nil || len(v.Guards) > 0 {
			t.Errorf("half-way %v: the schema is not that of a new folder: %v, %v", half, v.Guards, err)
		}
	}
}

// interrupt leaves the old table as it is once its rows are sealed.
func interrupt(t *testing.T, home store.Home, raw *sql.DB) {
	t.Helper()
	if _, err := raw.ExecContext(t.Context(), `DELETE FROM patient`); err != nil {
		t.Fatal(err)
	}
	if names := inFiles(t, home.Dir(), "MRN-plain-"); len(names) == 0 {
		t.Fatal("nothing is left of what was deleted")
	}
}

// Without its key the program goes on: what needs it says what to do.
func TestKeyMissing(t *testing.T) {
	t.Parallel()
	db := open(t, clock)
	home := db.Home()
	c := save(t, db, aNumber)
	path, aside := filepath.Join(home.Dir(), "patients.key"), filepath.Join(t.TempDir(), "kept.key")
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(path, aside); err != nil {
		t.Fatal(err)
	}
	db, err := home.Open(context.Background(), clock)
	if err != nil {
		t.Fatal(err)
	}
	refused := func(what string, err error) {
		t.Helper()
		if fault.CodeOf(err) != fault.NotFound || !strings.Contains(err.Error(), "the key of the patients' numbers is not there") ||
			!strings.Contains(err.Error(), "--patient-key") {
			t.Errorf("%s: %v", what, err)
		}
	}
	_, err = numberOf(t, db, c[0])
	refused("to reveal", err)
	_, _, err = found(t, db, aNumber)
	refused("to find", err)
	refused("to keep", db.Write(context.Background(), func(tx *store.Tx) error {
		_, err := store.PatientsOf(tx).Save("2")
		return err
	}))
	storetest.Write(t, db, storetest.Step("SC-00", db.Now()))
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	// Named elsewhere it serves as well.
	elsewhere := sqlite.Folder(home.Dir()).WithPatientKey(aside)
	if db, err = elsewhere.Open(context.Background(), clock); err != nil {
		t.Fatal(err)
	}
	if got, err := numberOf(t, db, c[0]); err != nil || got != aNumber {
		t.Errorf("with the key elsewhere: %q, %v", got, err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	// Another key opens nothing, and is never written over.
	made, err := sqlite.Folder(home.Dir()).MakePatientKey("")
	if err != nil || made != path {
		t.Fatalf("%s, %v", made, err)
	}
	if _, err := sqlite.Folder(home.Dir()).MakePatientKey(""); fault.CodeOf(err) != fault.Conflict {
		t.Errorf("over a key: %v", err)
	}
	if db, err = home.Open(context.Background(), clock); err != nil {
		t.Fatal(err)
	}
	if got, err := numberOf(t, db, c[0]); fault.CodeOf(err) != fault.NotFound || !strings.Contains(err.Error(), "another key") {
		t.Errorf("with another key: %q, %v", got, err)
	}
	if _, ok, err := found(t, db, aNumber); ok || err != nil {
		t.Errorf("found with another key: %v", err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte("not a key\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if db, err = home.Open(context.Background(), clock); err != nil {
		t.Fatal(err)
	}
	_, err = numberOf(t, db, c[0])
	refused("with a damaged key", err)
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

// A new folder whose key is to lie elsewhere has none of its own.
func TestKeyElsewhere(t *testing.T) {
	t.Parallel()
	key := filepath.Join(t.TempDir(), "elsewhere.key")
	home := sqlite.Folder(t.TempDir()).WithPatientKey(key)
	db := storetest.Create(t, home, clock)
	c := save(t, db, aNumber)
	if got, err := numberOf(t, db, c[0]); err != nil || got != aNumber || db.Home() != home {
		t.Errorf("%q, %v", got, err)
	}
	if _, err := os.Stat(filepath.Join(home.Dir(), "patients.key")); err == nil {
		t.Error("there is a key in the folder")
	}
	if _, err := os.Stat(key); err != nil {
		t.Error(err)
	}
}

// What was changed in the database, or put into another row, opens nothing.
func TestChangedNumbers(t *testing.T) {
	t.Parallel()
	for name, change := range map[string]string{
		"a byte":  `UPDATE patient_number SET sealed = CAST(substr(sealed, 1, 40) || x'00' || substr(sealed, 42) AS BLOB) WHERE place = 1`,
		"cut":     `UPDATE patient_number SET sealed = substr(sealed, 1, 20) WHERE place = 1`,
		"nothing": `UPDATE patient_number SET sealed = x'' WHERE place = 1`,
		"swapped": `UPDATE patient_number SET sealed = (SELECT o.sealed FROM patient_number o WHERE o.place = 3 - patient_number.place)`,
		"renamed": `UPDATE patient_number SET commitment = (SELECT o.commitment || '' FROM patient_number o WHERE o.place = 2) || 'x' WHERE place = 1`,
	} {
		db := open(t, clock)
		c := save(t, db, aNumber, "MRN-2")
		if _, err := sqlitetest.Raw(t, db.Home()).ExecContext(t.Context(), change); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if got, err := numberOf(t, db, c[0]); err == nil || fault.CodeOf(err) == "" {
			t.Errorf("%s: %q, %v", name, got, err)
		}
		if got, ok, err := found(t, db, aNumber); ok || fault.CodeOf(err) != fault.Conflict {
			t.Errorf("%s: found %q, %v", name, got, err)
		}
	}
	// A finder that was put onto another row does not pass one patient off as another.
	db := open(t, clock)
	save(t, db, aNumber, "MRN-2")
	raw := sqlitetest.Raw(t, db.Home())
	raw.SetMaxOpenConns(1) // what is temporary belongs to a connection
	for _, text := range []string{
		`CREATE TEMP TABLE kept AS SELECT place, finder FROM patient_number`,
		`UPDATE patient_number SET finder = NULL`,
		`UPDATE patient_number SET finder = (SELECT k.finder FROM kept k WHERE k.place = 3 - patient_number.place)`,
	} {
		if _, err := raw.ExecContext(t.Context(), text); err != nil {
			t.Fatalf("%s: %v", text, err)
		}
	}
	if got, ok, err := found(t, db, aNumber); ok || err == nil {
		t.Errorf("finders swapped: %q is found, %v", got, err)
	}
}

// An erased number is gone from the files with what it was sealed into, and the same patient is somebody new.
func TestErasedNumber(t *testing.T) {
	t.Parallel()
	db := open(t, clock)
	c := save(t, db, aNumber, "MRN-2")
	var closed []byte
	raw := sqlitetest.Raw(t, db.Home())
	if err := raw.QueryRowContext(t.Context(), `SELECT sealed FROM patient_number WHERE place = 1`).Scan(&closed); err != nil {
		t.Fatal(err)
	}
	if err := raw.Close(); err != nil {
		t.Fatal(err)
	}
	erase := func() error {
		return db.Write(context.Background(), func(tx *store.Tx) error { return store.PatientsOf(tx).Erase(c[0]) })
	}
	if err := erase(); err != nil {
		t.Fatal(err)
	}
	if names := inFiles(t, db.Home().Dir(), string(closed[20:])); len(names) > 0 {
		t.Errorf("what was sealed stands in %v", names)
	}
	if got, err := numberOf(t, db, c[0]); fault.CodeOf(err) != fault.NotFound || !strings.Contains(err.Error(), "was erased") {
		t.Errorf("revealed: %q, %v", got, err)
	}
	if _, ok, err := found(t, db, aNumber); ok || err != nil {
		t.Errorf("found: %v", err)
	}
	if err := erase(); fault.CodeOf(err) != fault.NotFound {
		t.Errorf("erased twice: %v", err)
	}
	if again := save(t, db, aNumber); again[0] == c[0] {
		t.Error("the same patient has the same commitment")
	}
	if got, err := numberOf(t, db, c[1]); err != nil || got != "MRN-2" {
		t.Errorf("the other patient: %q, %v", got, err)
	}
}
