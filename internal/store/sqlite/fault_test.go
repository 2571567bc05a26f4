package sqlite_test

import (
	"bufio"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	mathrand "math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite"
	"rinsate/internal/store/sqlite/sqlitetest"
	"rinsate/internal/store/storetest"
)

// actEnv makes the test's own program act as another process on a data folder; its value is the name of
// the act, how much later than others its clock begins, and the folder.
const actEnv = "RINSATE_STORE_TEST_ACT"

// actAsHelper runs what actEnv asks for and ends the process; without it nothing happens.
func actAsHelper() {
	asked := strings.SplitN(os.Getenv(actEnv), ":", 3)
	if len(asked) != 3 {
		return
	}
	act, dir := asked[0], asked[2]
	later, err := time.ParseDuration(asked[1])
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	if act == "look" {
		lookAt(dir)
	}
	db, err := sqlite.Folder(dir).Open(context.Background(), storetest.Ticking(later))
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	fmt.Println("open")
	switch act {
	case "write":
		writeWithoutEnd(db)
	case "wait":
		_, _ = io.Copy(io.Discard, os.Stdin)
		if err := db.Close(); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	os.Exit(0)
}

// writeWithoutEnd writes with 8 goroutines and prints the id of each record after its write was
// acknowledged.
func writeWithoutEnd(db *store.DB) {
	var wg sync.WaitGroup
	for w := range 8 {
		wg.Go(func() {
			for {
				d := storetest.Step(fmt.Sprintf("SC-%02d", w), db.Now())
				err := db.Write(context.Background(), func(tx *store.Tx) error {
					_, _, err := tx.Append(d)
					return err
				})
				if err != nil {
					fmt.Fprintln(os.Stderr, err)
					os.Exit(1)
				}
				if _, err := os.Stdout.WriteString(string(d.ID) + "\n"); err != nil { // one call: lines do not mix
					os.Exit(1)
				}
			}
		})
	}
	wg.Wait()
}

// process is another process on a data folder.
type process struct {
	cmd    *exec.Cmd
	stdin  io.WriteCloser
	stdout *bufio.Reader
	stderr strings.Builder
}

func act(t *testing.T, what string, later time.Duration, dir string) *process {
	t.Helper()
	p := &process{cmd: exec.CommandContext(t.Context(), os.Args[0])}
	p.cmd.Env = append(os.Environ(), fmt.Sprintf("%s=%s:%s:%s", actEnv, what, later, dir))
	p.cmd.Stderr = &p.stderr
	stdout, err := p.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	p.stdout = bufio.NewReader(stdout)
	if p.stdin, err = p.cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	if line, err := p.stdout.ReadString('\n'); err != nil || line != "open\n" {
		t.Fatalf("the other process: %q, %v\n%s", line, err, p.stderr.String())
	}
	return p
}

// A process that is killed under load loses nothing that it has acknowledged. When it is killed is
// counted in writes that it has acknowledged, and for some in time after the first of them, so that a slow
// machine shows as much as a quick one.
func TestKilledUnderLoad(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	ctx := context.Background()
	db := open(t, storetest.Ticking(0))
	dir := db.Home().Dir()
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	const kills, fewest = 20, 10
	random := mathrand.New(mathrand.NewPCG(20, 9))
	var acknowledged []ledger.ID
	for run := range kills {
		later := time.Duration(run+1) * time.Hour
		p := act(t, "write", later, dir)
		most := fewest + random.IntN(60)
		var kill *time.Timer
		for n := 0; ; {
			line, err := p.stdout.ReadString('\n')
			if err != nil { // a line that was cut off was not acknowledged
				break
			}
			acknowledged = append(acknowledged, ledger.ID(strings.TrimSpace(line)))
			switch n++; {
			case n == fewest && run%2 == 1:
				kill = time.AfterFunc(time.Duration(random.IntN(20000))*time.Microsecond, func() { _ = p.cmd.Process.Kill() })
			case n == most && run%2 == 0:
				if err := p.cmd.Process.Kill(); err != nil {
					t.Fatal(err)
				}
			}
		}
		if kill != nil {
			kill.Stop()
		}
		err := p.cmd.Wait()
		if exit, ok := errors.AsType[*exec.ExitError](err); !ok || exit.Sys().(syscall.WaitStatus).Signal() != syscall.SIGKILL {
			t.Fatalf("the writing process ended by itself: %v\n%s", err, p.stderr.String())
		}
		db, err := sqlite.Folder(dir).Open(ctx, storetest.Ticking(later))
		if err != nil {
			t.Fatal(err)
		}
		storetest.Read(t, db, func(tx *store.Tx) error {
			for _, id := range acknowledged {
				if _, err := tx.Record(id); err != nil {
					t.Errorf("acknowledged, then lost: %v", err)
				}
			}
			return nil
		})
		storetest.Verify(t, sqlite.Folder(dir), storetest.StateOf(t, db).Size)
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if len(acknowledged) < fewest*kills {
		t.Fatalf("%d writes in %d runs: too few to show anything", len(acknowledged), kills)
	}
	end := storetest.Ticking((kills + 1) * time.Hour)
	db, err := sqlite.Folder(dir).Open(ctx, end)
	if err != nil {
		t.Fatal(err)
	}
	db = storetest.Rebuilt(t, db, end)
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	t.Logf("%d acknowledged writes, %d kills", len(acknowledged), kills)
}

func TestTwoProcessesOnOneFolder(t *testing.T) {
	ctx := context.Background()
	db := open(t, clock)
	dir := db.Home().Dir()
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	p := act(t, "wait", 0, dir)
	want := fmt.Sprintf("%s is in use by process %d\nhint: stop that process", dir, p.cmd.Process.Pid)
	_, err := sqlite.Folder(dir).Open(ctx, clock)
	wantError(t, "open", err, fault.Busy, want)
	_, err = sqlite.Folder(dir).Rebuild(ctx, nil)
	wantError(t, "rebuild", err, fault.Busy, want)
	_, err = sqlite.Folder(dir).Create(ctx, testSite, clock)
	wantError(t, "create", err, fault.Busy, want)
	storetest.Verify(t, sqlite.Folder(dir), 1) // looking is allowed
	if err := p.stdin.Close(); err != nil {
		t.Fatal(err)
	}
	if err := p.cmd.Wait(); err != nil {
		t.Fatalf("the other process: %v\n%s", err, p.stderr.String())
	}
	db, err = sqlite.Folder(dir).Open(ctx, clock)
	if err != nil {
		t.Fatalf("after the other process has ended: %v", err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

// wantError compares an error's code and a part of its text.
func wantError(t *testing.T, what string, err error, code fault.Code, part string) {
	t.Helper()
	if fault.CodeOf(err) != code || err == nil || !strings.Contains(err.Error(), part) {
		t.Errorf("%s: got %q: %v\nwant %q: %s", what, fault.CodeOf(err), err, code, part)
	}
}

// mount puts a small file system of its own under a folder.
func mount(t *testing.T, dir string, flags uintptr, data string) {
	t.Helper()
	if err := syscall.Mount("rinsate-test", dir, "tmpfs", flags, data); err != nil {
		t.Fatalf("mount a tmpfs on %s: %v. This test fills a disk of its own; run it as root, in a container with --cap-add SYS_ADMIN", dir, err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, 0); err != nil {
			t.Errorf("unmount %s: %v", dir, err)
		}
	})
}

func TestDiskFull(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	ctx := context.Background()
	dir := t.TempDir()
	mount(t, dir, 0, "size=4m")
	data := filepath.Join(dir, "data")
	db, err := sqlite.Folder(data).Create(ctx, testSite, clock)
	if err != nil {
		t.Fatal(err)
	}
	closed := false
	defer func() {
		if !closed {
			if err := db.Close(); err != nil {
				t.Error(err)
			}
		}
	}()
	write := func(d store.Draft) error {
		return db.Write(ctx, func(tx *store.Tx) error { _, _, err := tx.Append(d); return err })
	}
	var stored []ledger.ID
	for range 50 {
		d := storetest.Step("SC-00", db.Now())
		if err := write(d); err != nil {
			t.Fatal(err)
		}
		stored = append(stored, d.ID)
	}
	ballast := filepath.Join(dir, "ballast")
	for round := range 3 {
		fill(t, ballast)
		// Many writers at once, so that whole groups fail together.
		var mu sync.Mutex
		var wg sync.WaitGroup
		full := 0
		for range 8 {
			wg.Go(func() {
				for range 400 {
					d := storetest.Step("SC-01", db.Now())
					d.Reason, d.Device = strings.Repeat("x", record.MaxText), strings.Repeat("x", record.MaxText)
					err := write(d)
					mu.Lock()
					if err == nil {
						stored = append(stored, d.ID)
					} else {
						full++
						wantError(t, "write on a full disk", err, fault.Full, "nothing was written and nothing is lost\nhint: ")
					}
					mu.Unlock()
				}
			})
		}
		wg.Wait()
		if full == 0 {
			t.Fatal("the disk was never full")
		}
		assertStored(t, db, stored)
		if err := os.Remove(ballast); err != nil {
			t.Fatal(err)
		}
		d := storetest.Step("SC-02", db.Now())
		if err := write(d); err != nil {
			t.Fatalf("round %d: after space was freed: %v", round, err)
		}
		stored = append(stored, d.ID)
		storetest.Verify(t, sqlite.Folder(data), int64(len(stored)+1))
	}
	db = storetest.Rebuilt(t, db, clock)
	assertStored(t, db, stored)
	closed = true
	if err := db.Close(); err != nil {
		t.Error(err)
	}
	storetest.Verify(t, sqlite.Folder(data), int64(len(stored)+1))
}

func assertStored(t *testing.T, db *store.DB, ids []ledger.ID) {
	t.Helper()
	storetest.Read(t, db, func(tx *store.Tx) error {
		for _, id := range ids {
			if _, err := tx.Record(id); err != nil {
				t.Errorf("acknowledged, then lost: %v", err)
			}
		}
		return nil
	})
}

// fill writes a file until there is no room left for another page.
func fill(t *testing.T, path string) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err = f.Write(make([]byte, 4096)); err != nil {
			break
		}
	}
	if err := errors.Join(f.Close()); err != nil {
		t.Fatal(err)
	}
	if !errors.Is(err, syscall.ENOSPC) {
		t.Fatalf("filling the disk: %v", err)
	}
}

func TestFolderThatCannotBeWritten(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	mount(t, dir, 0, "size=4m")
	db, err := sqlite.Folder(dir).Create(ctx, testSite, clock)
	if err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Mount("", dir, "", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	const want = "the data folder cannot be written to"
	_, err = sqlite.Folder(dir).Open(ctx, clock)
	wantError(t, "open", err, fault.Invalid, want)
	_, err = sqlite.Folder(dir).Rebuild(ctx, nil)
	wantError(t, "rebuild", err, fault.Invalid, want)
	_, err = sqlite.Folder(filepath.Join(dir, "new")).Create(ctx, testSite, clock)
	wantError(t, "create", err, fault.Invalid, want)
}

// A wrong path never becomes an empty ledger.
func TestWrongPath(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	for _, path := range []string{dir, filepath.Join(dir, "missing")} {
		_, err := sqlite.Folder(path).Open(ctx, clock)
		wantError(
			t,
			"open",
			err,
			fault.NotFound,
			"there is no ledger in "+path+"\nhint: check the folder (--data), or make a new one, in the browser with: rinsate init --pages, or here with: rinsate init",
		)
		_, err = sqlite.Folder(path).Rebuild(ctx, nil)
		wantError(t, "rebuild", err, fault.NotFound, "there is no ledger in "+path)
		_, err = sqlite.Folder(path).Verify(ctx, nil, nil)
		wantError(t, "verify", err, fault.NotFound, "there is no ledger in "+path)
	}
	entries, err := os.ReadDir(dir)
	if err != nil || len(entries) != 0 {
		t.Errorf("left behind: %v, %v", entries, err)
	}
}

func TestCreateRefuses(t *testing.T) {
	ctx := context.Background()
	change := func(f func(*record.SiteBody)) record.SiteBody { s := testSite; f(&s); return s }
	for _, test := range []struct {
		name string
		site record.SiteBody
		want string
	}{
		{"no code", change(func(s *record.SiteBody) { s.Code = "" }), "a site needs a code, a name and the origin of its ledger"},
		{"no zone", change(func(s *record.SiteBody) { s.Zone = "" }), `time zone "" is not known` + "\nhint: give an IANA name"},
		{"unknown zone", change(func(s *record.SiteBody) { s.Zone = "Middle/Earth" }), `time zone "Middle/Earth" is not known`},
		{"unknown terms", change(func(s *record.SiteBody) { s.Terms = "fr" }), `terms "fr" are not known` + "\nhint: choose us or uk"},
		{"origin with a space", change(func(s *record.SiteBody) { s.Origin = "my ledger" }), `origin "my ledger" is not usable`},
		{"code with a quote", change(func(s *record.SiteBody) { s.Code = `a"b` }), `site "a\"b" is empty or holds a quote`},
	} {
		t.Run(test.name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "data")
			_, err := sqlite.Folder(dir).Create(ctx, test.site, clock)
			wantError(t, "create", err, fault.Invalid, test.want)
			if _, err := os.Stat(dir); !errors.Is(err, fs.ErrNotExist) {
				t.Errorf("the folder was made: %v", err)
			}
		})
	}
	db := open(t, clock)
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	_, err := db.Home().Create(ctx, testSite, clock)
	wantError(t, "create over a ledger", err, fault.Conflict, db.Home().Dir()+" holds a ledger already\nhint: choose an empty folder; nothing was changed")
	storetest.Verify(t, db.Home(), 1)
}

// closedStore makes a store with records of every type and closes it.
func closedStore(t *testing.T) (dir string, size int64) {
	t.Helper()
	clock := storetest.NewClock()
	db := open(t, clock.Now)
	storetest.Everything(t, db, clock)
	size = storetest.StateOf(t, db).Size
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	return db.Home().Dir(), size
}

func TestKeyFile(t *testing.T) {
	ctx := context.Background()
	dir, size := closedStore(t)
	path := filepath.Join(dir, "ledger.key")
	own, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode of the key file: %v, %v; want only its owner to read it", info.Mode(), err)
	}
	other, _, err := ledger.GenerateKey(rand.Reader, testSite.Origin)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	_, err = sqlite.Folder(dir).Open(ctx, clock)
	wantError(t, "missing", err, fault.NotFound, "the signing key of the ledger is missing: "+path+"\nhint: restore it from the backup")
	for _, test := range []struct {
		name, text string
		code       fault.Code
		want       string
	}{
		{"of another ledger", other, fault.Conflict, "the signing key beside the database is not the key of this ledger\nhint: restore ledger.key from the " +
			"same backup"},
		{"garbage", "not a key", fault.Invalid, "the signing key of the ledger cannot be read"},
		{"empty", "", fault.Invalid, "the signing key of the ledger cannot be read"},
	} {
		if err := os.WriteFile(path, []byte(test.text), 0o600); err != nil {
			t.Fatal(err)
		}
		_, err = sqlite.Folder(dir).Open(ctx, clock)
		wantError(t, test.name, err, test.code, test.want)
	}
	storetest.Verify(t, sqlite.Folder(dir), size) // needs no secret
	if err := os.WriteFile(path, own, 0o600); err != nil {
		t.Fatal(err)
	}
	db, err := sqlite.Folder(dir).Open(ctx, clock)
	if err != nil {
		t.Fatalf("with its own key again: %v", err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

func TestNewerSchema(t *testing.T) {
	dir, _ := closedStore(t)
	raw := sqlitetest.Raw(t, sqlite.Folder(dir))
	if _, err := raw.Exec(`INSERT INTO goose_db_version (version_id, is_applied) VALUES (99, 1)`); err != nil {
		t.Fatal(err)
	}
	const want = "the database has version 99; this program knows versions up to 20\nhint: use the program that wrote it, or a newer one"
	_, err := sqlite.Folder(dir).Open(context.Background(), clock)
	wantError(t, "open", err, fault.Invalid, want)
	_, err = sqlite.Folder(dir).Rebuild(context.Background(), nil)
	wantError(t, "rebuild", err, fault.Invalid, want)
}

// The database refuses the row of one table after the other, as a damaged disk or a full one might:
// nothing is half-written, others who write at the same time are not touched, and the next write
// works.
func TestFailureAtEachTable(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	for _, step := range []string{
		"INSERT ON record", "INSERT ON event", "INSERT ON entity", "INSERT ON reading", "INSERT ON hold", "INSERT ON checkpoint",
		"UPDATE ON event", "UPDATE ON entity", "UPDATE ON reading", "UPDATE ON hold", "UPDATE ON head",
	} {
		t.Run(step, func(t *testing.T) {
			clock := storetest.NewClock()
			db := open(t, clock.Now)
			work := func(tag string) func(*store.Tx) error {
				return func(tx *store.Tx) error { return oneOfEach(tx, tag) }
			}
			if err := db.Write(context.Background(), work("before")); err != nil {
				t.Fatal(err)
			}
			before := storetest.StateOf(t, db)
			raw := sqlitetest.Raw(t, db.Home())
			if _, err := raw.Exec(`CREATE TRIGGER fault BEFORE ` + step + ` BEGIN SELECT RAISE(ABORT, 'injected'); END`); err != nil {
				t.Fatal(err)
			}
			clock.Move(time.Hour) // so that a checkpoint is due
			if err := db.Write(context.Background(), work("failing")); err == nil || !strings.Contains(err.Error(), "injected") {
				t.Errorf("got %v, want the injected fault", err)
			}
			if err := db.Write(context.Background(), func(tx *store.Tx) error {
				_ = oneOfEach(tx, "careless") // whoever does not look at the error still commits nothing
				return nil
			}); err == nil {
				t.Error("a failure that was not looked at was committed")
			}
			if diff := cmp.Diff(before, storetest.StateOf(t, db)); diff != "" {
				t.Errorf("half-written:\n%s", diff)
			}
			if _, err := raw.Exec(`DROP TRIGGER fault`); err != nil {
				t.Fatal(err)
			}
			if err := db.Write(context.Background(), work("after")); err != nil {
				t.Errorf("the next write: %v", err)
			}
			size := storetest.StateOf(t, db).Size
			storetest.Verify(t, db.Home(), size)
			db = storetest.Rebuilt(t, db, clock.Now)
			if err := db.Close(); err != nil {
				t.Error(err)
			}
		})
	}
}

// oneOfEach writes to every table, and takes the place of a row in each that allows it.
func oneOfEach(tx *store.Tx, tag string) error {
	at := tx.Now
	var last ledger.ID
	put := func(typ record.Kind, corrects ledger.ID, body any) error {
		d := store.Draft{Type: typ, ID: ledger.NewID(at, rand.Reader), At: at, By: "T", Body: body, Corrects: corrects}
		if corrects != "" {
			d.Reason = "wrong"
		}
		last = d.ID
		_, _, err := tx.Append(d)
		return err
	}
	value := reading.Reading{Scope: tag, Sample: "s", With: reading.Circumstances{At: at}, Judgement: reading.Judgement{Outcome: reading.OK}}
	hold := reprocessing.Hold{Scope: tag, Kind: reprocessing.OtherHold, At: at, By: "T", Reason: "r"}
	for _, one := range []struct {
		typ  record.Kind
		body any
	}{{record.Meter, quality.Meter{Code: tag, System: "A"}}, {record.Reading, value}, {record.Hold, hold}} {
		if err := put(one.typ, "", one.body); err != nil {
			return err
		}
		if err := put(record.Void, last, record.VoidBody{Scope: tag}); err != nil {
			return err
		}
	}
	return nil
}

// Whoever verifies while others write sees one moment, and no fault. So many may be written during each look: a look
// takes the longer the more there is, and would never catch up with whoever writes on and on.
func TestVerifyWhileWriting(t *testing.T) {
	db := open(t, clock)
	room := make(chan struct{}, 40)
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			for range room {
				err := db.Write(context.Background(), func(tx *store.Tx) error {
					_, _, err := tx.Append(storetest.Step("SC-00", tx.Now))
					return err
				})
				if err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	last := int64(0)
	for looks := 0; (looks < 25 || last < 100) && !t.Failed(); looks++ {
		for len(room) < cap(room) {
			room <- struct{}{}
		}
		if _, err := db.Checkpoint(context.Background()); err != nil {
			t.Error(err)
		}
		v, err := db.Home().Verify(context.Background(), nil, nil)
		if err != nil || v.Size < last {
			t.Errorf("%d records after %d: %v", v.Size, last, err)
		}
		last = v.Size
	}
	close(room)
	wg.Wait()
}
