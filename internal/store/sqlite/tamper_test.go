package sqlite_test

import (
	"context"
	"crypto/rand"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"
	"pgregory.net/rapid"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/store/sqlite"
	"rinsate/internal/store/sqlite/sqlitetest"
	"rinsate/internal/store/storetest"
)

// An attacker with the file, the SQL and the time to remove the triggers changes rows; verification
// names the first record that is not what it was.
func TestTampering(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	clock := storetest.NewClock()
	db := open(t, clock.Now)
	storetest.Everything(t, db, clock)
	for i := range 150 {
		storetest.Write(t, db, storetest.Step(fmt.Sprint("SC-", i%5), clock.At()))
	}
	size := storetest.StateOf(t, db).Size
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	storetest.Verify(t, db.Home(), size)
	_, other, err := ledger.GenerateKey(rand.Reader, testSite.Origin)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Home().Verify(context.Background(), []string{other}, nil); err == nil {
		t.Error("verified by a key that signed nothing")
	}
	if v, err := db.Home().Verify(context.Background(), []string{db.Site().VKey}, nil); err != nil || v.Checkpoints < 3 {
		t.Errorf("verified by its own key: %+v, %v", v, err)
	}
	tampers := map[string]func(attacker) (first int64, exact bool){
		"flip a byte of a record":            attacker{}.flip("bytes"),
		"flip a byte of the hashes":          attacker{}.flip("hashes"),
		"swap the bytes of two records":      attacker.swapBytes,
		"swap two rows":                      attacker.swapRows,
		"drop a record":                      attacker.drop,
		"cut the tail":                       attacker.cut,
		"cut the tail and move the head":     attacker.cutWithHead,
		"rewrite a record and all behind it": attacker.rewrite,
		"add a record behind the end":        attacker.add,
		"change the head":                    attacker.moveHead,
	}
	rapid.Check(t, func(rt *rapid.T) {
		for _, name := range slices.Sorted(maps.Keys(tampers)) {
			dir, err := os.MkdirTemp(t.TempDir(), "")
			if err != nil {
				rt.Fatal(err)
			}
			first, exact := tampers[name](attack(t, rt, db.Home().Dir(), dir, size))
			_, err = sqlite.Folder(dir).Verify(context.Background(), nil, nil)
			flaw, ok := errors.AsType[*ledger.FaultError](err)
			switch {
			case !ok:
				rt.Fatalf("%s: record %d: nothing was found: %v", name, first, err)
			case exact && flaw.Seq != first:
				rt.Fatalf("%s: record %d was changed; found: record %d, %v", name, first, flaw.Seq, err)
			case flaw.Seq > first:
				rt.Fatalf("%s: record %d was changed; found only from record %d on: %v", name, first, flaw.Seq, err)
			}
			if strings.HasPrefix(name, "cut") || strings.HasPrefix(name, "add") || name == "change the head" {
				if _, err := sqlite.Folder(dir).Open(context.Background(), clock.Now); fault.CodeOf(err) != fault.Broken {
					rt.Fatalf("%s: the program starts on it: %v", name, err)
				}
			}
		}
	})
}

// A text that was changed, taken away without a record that says so, put back after its erasure, or added is
// found, and nothing else is.
func TestTamperingWithTexts(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	clock := storetest.NewClock()
	db := open(t, clock.Now)
	storetest.Everything(t, db, clock)
	size := storetest.StateOf(t, db).Size
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	storetest.Verify(t, db.Home(), size)
	const one = `place = (SELECT place FROM text t WHERE NOT EXISTS (SELECT 1 FROM erased e WHERE e.seq = t.seq) ORDER BY place LIMIT 1 OFFSET 3)`
	for name, test := range map[string]struct{ change, want string }{
		"value":   {`UPDATE text SET value = CAST('another' AS BLOB) WHERE ` + one, "was changed"},
		"salt":    {`UPDATE text SET salt = x'000102030405060708090a0b0c0d0e0f000102030405060708090a0b0c0d0e0f' WHERE ` + one, "was changed"},
		"zeros":   {`UPDATE text SET salt = zeroblob(32), value = zeroblob(length(value)) WHERE ` + one, "is missing, and no record says that it was erased"},
		"deleted": {`DELETE FROM text WHERE ` + one, "is missing, and no record says that it was erased"},
		"with a row that says it was erased": {
			`INSERT INTO erased SELECT site, seq, field, 1 FROM text WHERE ` + one + `; DELETE FROM text WHERE ` + one,
			"is missing, and no record says that it was erased",
		},
		"moved":    {`UPDATE text SET field = 'body.other' WHERE ` + one, "to which that record does not commit"},
		"added":    {`INSERT INTO text (site, seq, field, salt, value) VALUES ('S1', 0, 'body.name', zeroblob(32), x'00')`, "to which that record does not commit"},
		"all gone": {`DELETE FROM text`, "is missing, and no record says that it was erased"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			rapid.Check(t, func(rt *rapid.T) {
				to, err := os.MkdirTemp(dir, "")
				if err != nil {
					rt.Fatal(err)
				}
				a := attack(t, rt, db.Home().Dir(), to, size)
				a.exec(test.change)
				_, err = sqlite.Folder(to).Verify(context.Background(), nil, nil)
				if flaw, ok := errors.AsType[*ledger.FaultError](err); !ok || !strings.Contains(flaw.Problem, test.want) {
					rt.Fatalf("got %v, want a fault that %s", err, test.want)
				}
			})
		})
	}
}

// attacker works on a copy of a store whose triggers are gone.
type attacker struct {
	*rapid.T
	db   *sql.DB
	size int64
}

func attack(t *testing.T, rt *rapid.T, from, to string, size int64) attacker {
	t.Helper()
	if err := os.CopyFS(to, regularFiles{os.DirFS(from)}); err != nil {
		rt.Fatal(err)
	}
	db, err := sql.Open("sqlite", "file:"+filepath.Join(to, "rinsate.db")+"?_pragma=synchronous(OFF)")
	if err != nil {
		rt.Fatal(err)
	}
	t.Cleanup(func() {
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	})
	db.SetMaxOpenConns(1)
	a := attacker{rt, db, size}
	names, err := triggers(db)
	if err != nil {
		rt.Fatal(err)
	}
	for _, name := range names {
		a.exec(`DROP TRIGGER ` + name)
	}
	return a
}

func triggers(db *sql.DB) (names []string, err error) {
	rows, err := db.Query(`SELECT name FROM sqlite_schema WHERE type = 'trigger'`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			return nil, err
		}
		names = append(names, name)
	}
	return names, rows.Err()
}

// regularFiles is a file system without its lock file, which only a running program needs.
type regularFiles struct{ fs.FS }

func (r regularFiles) ReadDir(name string) ([]fs.DirEntry, error) {
	entries, err := fs.ReadDir(r.FS, name)
	var kept []fs.DirEntry
	for _, e := range entries {
		if e.Name() != "rinsate.lock" {
			kept = append(kept, e)
		}
	}
	return kept, err
}

func (a attacker) exec(text string, args ...any) {
	if _, err := a.db.Exec(text, args...); err != nil {
		a.Fatal(err)
	}
}

// record draws one.
func (a attacker) record() int64 { return rapid.Int64Range(0, a.size-1).Draw(a.T, "record") }

func (a attacker) row(seq int64) (record, hashes []byte) {
	if err := a.db.QueryRow(`SELECT bytes, hashes FROM record WHERE seq = $1`, seq).Scan(&record, &hashes); err != nil {
		a.Fatal(err)
	}
	return record, hashes
}

func (attacker) flip(column string) func(attacker) (int64, bool) {
	return func(a attacker) (int64, bool) {
		seq := a.record()
		record, hashes := a.row(seq)
		b := record
		if column == "hashes" {
			b = hashes
		}
		b[rapid.IntRange(0, len(b)-1).Draw(a.T, "byte")] ^= 1 << rapid.IntRange(0, 7).Draw(a.T, "bit")
		a.exec(`UPDATE record SET bytes = $1, hashes = $2 WHERE seq = $3`, record, hashes, seq)
		return seq, true
	}
}

// two draws two records, the first of them first.
func (a attacker) two() (int64, int64) {
	first := rapid.Int64Range(0, a.size-2).Draw(a.T, "first")
	return first, rapid.Int64Range(first+1, a.size-1).Draw(a.T, "second")
}

func (a attacker) swapBytes() (int64, bool) {
	first, second := a.two()
	one, _ := a.row(first)
	other, _ := a.row(second)
	a.exec(`UPDATE record SET bytes = $1 WHERE seq = $2`, other, first)
	a.exec(`UPDATE record SET bytes = $1 WHERE seq = $2`, one, second)
	return first, true
}

func (a attacker) swapRows() (int64, bool) {
	first, second := a.two()
	a.exec(`UPDATE record SET seq = -1 WHERE seq = $1`, first)
	a.exec(`UPDATE record SET seq = $1 WHERE seq = $2`, first, second)
	a.exec(`UPDATE record SET seq = $1 WHERE seq = -1`, second)
	return first, true
}

func (a attacker) drop() (int64, bool) {
	seq := a.record()
	a.exec(`DELETE FROM record WHERE seq = $1`, seq)
	return seq, true
}

func (a attacker) cut() (int64, bool) {
	seq := a.record()
	a.exec(`DELETE FROM record WHERE seq >= $1`, seq)
	return seq, true
}

// cutWithHead cuts the tail so well that the database agrees with itself: only the checkpoint beside
// it shows what is missing.
func (a attacker) cutWithHead() (int64, bool) {
	seq := rapid.Int64Range(1, a.size-1).Draw(a.T, "record")
	a.exec(`DELETE FROM record WHERE seq >= $1`, seq)
	a.exec(`DELETE FROM checkpoint WHERE size > $1`, seq)
	a.agree(0)
	return seq, true
}

// agree makes hashes and head follow from the records, from one record on.
func (a attacker) agree(from int64) {
	var tree ledger.Frontier
	for seq := int64(0); ; seq++ {
		var record []byte
		err := a.db.QueryRow(`SELECT bytes FROM record WHERE seq = $1`, seq).Scan(&record)
		if errors.Is(err, sql.ErrNoRows) {
			break
		}
		if err != nil {
			a.Fatal(err)
		}
		hashes := ledger.JoinHashes(tree.Append(record))
		if seq >= from {
			a.exec(`UPDATE record SET hashes = $1 WHERE seq = $2`, hashes, seq)
		}
	}
	root := tree.Root()
	a.exec(`UPDATE head SET size = $1, projected = $1, root = $2`, tree.Size(), root[:])
}

// rewrite changes a record and everything that follows from it but the signatures. Only these tell;
// they bound where it began.
func (a attacker) rewrite() (int64, bool) {
	seq := a.record()
	raw, _ := a.row(seq)
	r, err := ledger.Decode(raw)
	if err != nil {
		a.Fatal(err)
	}
	r.By += "X"
	if raw, err = ledger.Encode(r); err != nil {
		a.Fatal(err)
	}
	a.exec(`UPDATE record SET bytes = $1 WHERE seq = $2`, raw, seq)
	a.agree(seq)
	return seq, false
}

func (a attacker) add() (int64, bool) {
	raw, _ := a.row(a.size - 1)
	leaf := tlog.RecordHash(raw)
	a.exec(`INSERT INTO record (site, seq, id, bytes, hashes) VALUES ($1, $2, 'x', $3, $4)`, testSite.Code, a.size, raw, leaf[:])
	return a.size, true
}

func (a attacker) moveHead() (int64, bool) {
	n := rapid.Int64Range(0, a.size-1).Draw(a.T, "size")
	a.exec(`UPDATE head SET size = $1, projected = $1`, n)
	return n, true
}

// What beside the records was tampered with is told apart from a changed record.
func TestTamperingBesideTheRecords(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	for _, test := range []struct {
		name   string
		tamper func(t *testing.T, dir string)
		want   string
	}{
		{"note in the database", func(t *testing.T, dir string) {
			t.Helper()
			raw := sqlitetest.Raw(t, sqlite.Folder(dir))
			for _, text := range []string{`DROP TRIGGER checkpoint_no_update`, `UPDATE checkpoint SET note = replace(note, 'S1', 'S2') || 'x'`} {
				if _, err := raw.Exec(text); err != nil {
					t.Fatal(err)
				}
			}
		}, "the last checkpoint in the database is not signed by this ledger's key"},
		{"note beside the database", func(t *testing.T, dir string) {
			t.Helper()
			if err := os.WriteFile(filepath.Join(dir, "checkpoint.txt"), []byte("all is well\n"), 0o600); err != nil {
				t.Fatal(err)
			}
		}, "the checkpoint beside the database is not signed by this ledger's key"},
		{"another name of the site", func(t *testing.T, dir string) {
			t.Helper()
			raw := sqlitetest.Raw(t, sqlite.Folder(dir))
			for _, text := range []string{
				`DROP TRIGGER site_no_update`, `DROP TRIGGER head_forward`, `DROP TRIGGER record_no_update`, `DROP TRIGGER checkpoint_no_update`,
				`UPDATE site SET site = 'S9'`, `UPDATE head SET site = 'S9'`, `UPDATE record SET site = 'S9'`, `UPDATE checkpoint SET site = 'S9'`,
			} {
				if _, err := raw.Exec(text); err != nil {
					t.Fatal(err)
				}
			}
		}, `belongs to site "S1", the database to "S9"`},
		{"garbage for a database", func(t *testing.T, dir string) {
			t.Helper()
			if err := os.WriteFile(filepath.Join(dir, "rinsate.db"), []byte(strings.Repeat("no database ", 1000)), 0o600); err != nil {
				t.Fatal(err)
			}
		}, "the database file is damaged"},
	} {
		t.Run(test.name, func(t *testing.T) {
			dir, _ := closedStore(t)
			test.tamper(t, dir)
			_, err := sqlite.Folder(dir).Open(context.Background(), clock)
			wantError(t, "open", err, fault.Broken, test.want)
			if _, err := sqlite.Folder(dir).Verify(context.Background(), nil, nil); err == nil {
				t.Error("verification found nothing")
			}
		})
	}
}
