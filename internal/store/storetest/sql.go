package storetest

import (
	"context"
	"crypto/rand"
	"database/sql"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// largest is the largest whole number that a record may hold.
const largest = 1<<53 - 1

// values tries what engines differ in: the order of texts, of absent values and of ties, large
// numbers, and characters outside ASCII and outside the basic plane.
func values(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	// In the order of their bytes in UTF-8.
	tags := []string{"Z", "a", "z", "Ä", "ä", "ﬀ", "😂"}
	for _, i := range []int{3, 6, 0, 5, 2, 4, 1} {
		clock.Move(time.Second)
		Write(
			t,
			db,
			Step(tags[i], clock.At()),
			store.Draft{Type: record.Person, ID: ledger.NewID(clock.At(), rand.Reader), At: clock.At(), Body: record.PersonBody{Code: tags[i]}},
		)
	}
	var order []string
	rows := StateOf(t, db).Rows
	for _, row := range rows {
		if key, found := strings.CutPrefix(row, "entity site="+db.Site().Code+" type=person key="); found {
			key, _, _ = strings.Cut(key, " ")
			order = append(order, key)
		}
	}
	if diff := cmp.Diff(tags, order); diff != "" {
		t.Errorf("order of texts (-want +got):\n%s", diff)
	}
	for _, tag := range tags {
		if got := shown(t, db, tag, store.Forever); len(got) != 1 {
			t.Errorf("scope %q has %d steps, want 1: texts must compare by their bytes", tag, len(got))
		}
	}
	// Events at one instant keep the order of the ledger, and what is not replaced is absent, not zero.
	tie := clock.Move(time.Second)
	var want []ledger.ID
	for range 5 {
		want = append(want, Write(t, db, Step("tie", tie))[0].ID)
	}
	if got := shown(t, db, "tie", store.Forever); !cmp.Equal(got, want) {
		t.Errorf("events at one instant: %v, want %v", got, want)
	}
	Read(t, db, func(tx *store.Tx) error {
		return tx.Events("tie", tie, tie, store.Forever, func(k store.Kept) error {
			if k.Replaced != 0 {
				t.Errorf("replaced at %s, want never", k.Replaced)
			}
			return nil
		}, record.Step)
	})
	// Any number of kinds, more than one statement takes, gives the same in the same order.
	var all []ledger.ID
	Read(t, db, func(tx *store.Tx) error {
		return tx.Events("tie", tie, tie, store.Forever, func(k store.Kept) error {
			all = append(all, k.ID)
			return nil
		}, record.Kinds...)
	})
	if !cmp.Equal(all, want) {
		t.Errorf("events of every kind at one instant: %v, want %v", all, want)
	}
	const text = "Ä 😂 \"'`\\ \u2014 end"
	d := Step("big", clock.At())
	d.At, d.Reason = largest, text
	d.Body = reprocessing.Step{Scope: "big", Kind: reprocessing.LeakTest, Start: largest, Note: text, Contact: unit.Span(1)}
	sent := Write(t, db, d)[0]
	Read(t, db, func(tx *store.Tx) error {
		k, ok, err := tx.LastEvent("big", record.Step, "", largest, store.Forever)
		if err != nil {
			return err
		}
		body, err := record.Body[reprocessing.Step](k.Record)
		if !ok || k.ID != sent.ID || k.At != largest || k.Reason != text || !cmp.Equal(body, d.Body.(reprocessing.Step)) {
			t.Errorf("read back %t %+v", ok, k)
		}
		if _, ok, err := tx.LastEvent("big", record.Step, "", largest-1, store.Forever); ok || err != nil {
			t.Errorf("an instant of 2^53-1 lies at or before 2^53-2: %v", err)
		}
		return err
	})
	Verify(t, db.Home(), StateOf(t, db).Size)
}

// statement is a text of SQL in the source of package store.
type statement struct {
	where, text string
}

var beginsLikeSQL = regexp.MustCompile(`^\s*(SELECT|INSERT|UPDATE|DELETE|WITH)\s`)

// collect reads every statement from the source of package store, so that a new one is tried
// without being listed anywhere. A statement that is put together from parts is a failure.
func collect(t *testing.T) (all []statement) {
	t.Helper()
	files, err := filepath.Glob("../*.go")
	if err != nil {
		t.Fatal(err)
	}
	set := token.NewFileSet()
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		parsed, err := parser.ParseFile(set, file, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(parsed, func(n ast.Node) bool {
			if sum, ok := n.(*ast.BinaryExpr); ok && sum.Op == token.ADD {
				if first, ok := sum.X.(*ast.BasicLit); ok && beginsLikeSQL.MatchString(unquoted(t, first)) {
					t.Errorf("%s: a statement is put together from parts; write it whole, so that it can be tried", set.Position(n.Pos()))
				}
			}
			if literal, ok := n.(*ast.BasicLit); ok && literal.Kind == token.STRING {
				if text := unquoted(t, literal); beginsLikeSQL.MatchString(text) {
					all = append(all, statement{fmt.Sprint(set.Position(literal.Pos())), text})
				}
			}
			return true
		})
	}
	if len(all) < 30 { // 38 when this was written
		t.Fatalf("%d statements were found in %d files of package store: the search has lost its object", len(all), len(files))
	}
	return all
}

func unquoted(t *testing.T, literal *ast.BasicLit) string {
	t.Helper()
	if literal.Kind != token.STRING {
		return ""
	}
	text, err := strconv.Unquote(literal.Value)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func statements(t *testing.T, e Engine) {
	t.Helper()
	db := e.Create(t, NewClock().Now)
	raw := e.Raw(t, db.Home())
	e.Unguard(t, raw)
	for _, s := range collect(t) {
		if err := prepare(t.Context(), raw, s.text); err != nil {
			t.Errorf("%s: %v\n%s", s.where, err, s.text)
		}
	}
	// $n is bound by its number and not by its place: some drivers swap these silently.
	var first, second string
	if err := raw.QueryRowContext(t.Context(), `SELECT CAST($2 AS TEXT), CAST($1 AS TEXT)`, "one", "two").
		Scan(&first, &second); err != nil || first != "two" ||
		second != "one" {
		t.Errorf("SELECT $2, $1 gives %q, %q (%v)", first, second, err)
	}
}

func prepare(ctx context.Context, raw *sql.DB, text string) (err error) {
	prepared, err := raw.PrepareContext(ctx, text)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, prepared.Close()) }()
	return nil
}

// large are the tables that grow with the ledger, by their names and by those that statements give them.
var large = []string{"record", "event", "reading", "content", "handover", "search_block", "search_time", "r", "e", "n"}

// fullScans lists what may read a whole table, by the beginning of the statement, with the reason.
var fullScans = map[string]string{
	"SELECT * FROM ": "comparing two states of the tables reads every row",
	"DELETE FROM ":   "rebuilding empties the tables",
}

var placeholder = regexp.MustCompile(`\$(\d+)`)

// queryPlans asks the engine how it would run each statement on a filled database. One that reads
// more of a large table as the table grows has to be listed with a reason.
func queryPlans(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	Everything(t, db, clock)
	var drafts []store.Draft
	for i := range 2000 {
		drafts = append(drafts, Step(scopeName(i%20), clock.At().Add(-time.Duration(i)*time.Minute)))
	}
	Write(t, db, drafts...)
	raw := e.Raw(t, db.Home())
	e.Unguard(t, raw)
	if _, err := raw.ExecContext(t.Context(), `ANALYZE`); err != nil {
		t.Fatal(err)
	}
	allowed := maps.Clone(fullScans)
	maps.Copy(allowed, e.FullScans)
	used := map[string]bool{}
	for _, s := range collect(t) {
		for _, step := range e.Wide(t, raw, s.text, s.args(t), large) {
			reason := ""
			for beginning, why := range allowed {
				if strings.HasPrefix(s.text, beginning) {
					reason, used[beginning] = why, true
				}
			}
			if reason == "" {
				t.Errorf("%s: %s\n%s", s.where, step, s.text)
			}
		}
	}
	for beginning := range allowed {
		if !used[beginning] {
			t.Errorf("the exception for %q is not needed: remove it", beginning)
		}
	}
}

// args returns as many arguments as a statement has placeholders.
func (s statement) args(t *testing.T) []any {
	t.Helper()
	most := 0
	for _, m := range placeholder.FindAllStringSubmatch(s.text, -1) {
		n, err := strconv.Atoi(m[1])
		if err != nil {
			t.Fatal(err)
		}
		most = max(most, n)
	}
	args := make([]any, most)
	for i := range args {
		args[i] = 1
	}
	return args
}
