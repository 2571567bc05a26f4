package storetest

import (
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// known is a record as the naive search sees it.
type known struct {
	record ledger.Record
	// did is what later records did to it.
	did []string
	// found is what it is found by.
	found map[record.Facet][]string
}

// search compares the search with a plain look at every record: over the full blocks of the index and
// the records behind them, after a rebuild, and where an older program left no index.
func search(t *testing.T, e Engine) {
	t.Helper()
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	Everything(t, db, clock)
	many(t, db, clock)
	trySearches(t, e, db)
	db = Rebuilt(t, db, clock.Now)
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	db = withoutIndex(t, e, db, clock)
	trySearches(t, e, db)
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

// withoutIndex empties the index, as the home of an older program has it, and opens it.
func withoutIndex(t *testing.T, e Engine, db *store.DB, clock *Clock) *store.DB {
	t.Helper()
	want := stateOfHome(t, db.Home(), clock)
	raw := e.Raw(t, db.Home())
	e.Unguard(t, raw)
	for _, text := range []string{`DELETE FROM search_block`, `DELETE FROM search_time`} {
		if _, err := raw.ExecContext(t.Context(), text); err != nil {
			t.Fatal(err)
		}
	}
	db, err := db.Home().Open(context.Background(), clock.Now)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, StateOf(t, db)); diff != "" {
		t.Fatalf("the index of an older program differs:\n%s", diff)
	}
	return db
}

func stateOfHome(t *testing.T, home store.Home, clock *Clock) State {
	t.Helper()
	db, err := home.Open(context.Background(), clock.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	}()
	return StateOf(t, db)
}

// many writes some thousand records of a few scopes, people, lots, kits and meters, not in the order of
// time, of which some take the place of others, near and far.
func many(t *testing.T, db *store.DB, clock *Clock) {
	t.Helper()
	r := rand.New(rand.NewPCG(1, 2)) //nolint:gosec // the same records every time
	pick := func(all ...string) string { return all[r.IntN(len(all))] }
	var open []ledger.Record
	for range 20 {
		var drafts []store.Draft
		now := clock.Move(24 * time.Hour)
		for range 250 {
			at := now.Add(-time.Duration(r.IntN(100)) * time.Hour)
			if r.IntN(10) > 0 {
				at = now.Add(-time.Duration(r.IntN(600)) * time.Second)
			}
			d := store.Draft{ID: ledger.NewID(at, random{r}), At: at, By: pick("T-01", "T-02", "T=3", "")}
			tag := pick("SC-01", "SC-02", "sc-01", "Ä 7/2")
			switch r.IntN(5) {
			case 0:
				d.Type, d.Body = record.Step, reprocessing.Step{
					Scope:  tag,
					Kind:   reprocessing.LeakTest,
					Start:  at,
					End:    at.Add(time.Duration(r.IntN(30)) * time.Minute),
					By:     pick("T-01", "T-09"),
					Result: reprocessing.Result(pick("", "pass", "fail")),
				}
			case 1:
				d.Type, d.Body = record.Sample, sampling.Sample{
					Scope:     tag,
					Point:     pastPoints[0],
					Cleaning:  1,
					Kit:       pick("K", "J"),
					Lot:       pick("7", "8", "70"),
					Collected: at,
				}
			case 2, 3:
				x := aReading(tag, d.ID, at, reading.Outcome(pick("ok", "ok", "ok", "alert", "action", "void", "none")))
				x.Meter, x.Lot, x.With.Kit = pick("M-1", "M-2"), pick("7", "8", "70"), pick("K", "J")
				d.Type, d.Body = record.Reading, x
			default:
				c := aCheck(at, quality.Outcome(pick("accepted", "warning", "rejected")))
				c.Meter = pick("M-1", "M-2")
				c.Verdict.Meter = c.Meter
				for i := range c.Controls {
					c.Controls[i].Meter = c.Meter
				}
				d.Type, d.Body = record.Check, c
			}
			if len(open) > 0 && r.IntN(12) == 0 {
				i := r.IntN(len(open))
				d.Corrects, d.Reason = open[i].ID, "typed wrong"
				if d.Type != record.KindOf(open[i]) {
					d.Type, d.Body = record.Void, record.VoidBody{Scope: tag}
				}
				open = slices.Delete(open, i, i+1)
			}
			drafts = append(drafts, d)
		}
		for _, kept := range Write(t, db, drafts...) {
			if record.KindOf(kept) != record.Void {
				open = append(open, kept)
			}
		}
	}
}

// random makes ids the same every time.
type random struct{ *rand.Rand }

func (r random) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = byte(r.IntN(256))
	}
	return len(p), nil
}

// trySearches draws queries and compares.
func trySearches(t *testing.T, e Engine, db *store.DB) {
	t.Helper()
	all := naive(t, e, db)
	everyValue(t, db, all)
	hits := 0
	rapid.Check(t, func(rt *rapid.T) {
		q := drawQuery(rt, all)
		var want, got []int64
		for _, k := range slices.Backward(all) {
			if k.is(q) {
				want = append(want, k.record.Seq)
			}
		}
		limit := rapid.SampledFrom([]int{1, 50, len(all)}).Draw(rt, "limit")
		want = want[:min(limit, len(want))]
		hits += len(want)
		Read(checked{t, rt}, db, func(tx *store.Tx) error {
			return tx.Finding().Search(q, func(k store.Kept) (bool, error) {
				got = append(got, k.Seq)
				if k.ID != all[k.Seq].record.ID || k.Replaced.Known() != (len(all[k.Seq].did) > 0) {
					rt.Errorf("record %d: %s, replaced %s; later records did %v", k.Seq, k.ID, k.Replaced, all[k.Seq].did)
				}
				return len(got) < limit, nil
			})
		})
		if diff := cmp.Diff(want, got); diff != "" {
			rt.Errorf("%+v (-want +got):\n%s", q, diff)
		}
	})
	if hits == 0 {
		t.Error("no query found anything: nothing is compared")
	}
}

// everyValue asks for each value of the oldest records, of which there is one of every kind at least.
func everyValue(t *testing.T, db *store.DB, all []known) {
	t.Helper()
	asked := map[record.Term]bool{}
	for _, like := range all[:min(200, len(all))] {
		for _, f := range record.Facets {
			for _, value := range like.found[f] {
				term := f.Is(value)
				if value == "" || asked[term] {
					continue
				}
				asked[term] = true
				q := store.Query{Terms: []record.Term{term}}
				var want, got []int64
				for _, k := range slices.Backward(all) {
					if k.is(q) && len(want) < 300 {
						want = append(want, k.record.Seq)
					}
				}
				Read(t, db, func(tx *store.Tx) error {
					return tx.Finding().Search(q, func(k store.Kept) (bool, error) {
						got = append(got, k.Seq)
						return len(got) < 300, nil
					})
				})
				if diff := cmp.Diff(want, got); diff != "" {
					t.Errorf("%+v (-want +got):\n%s", q, diff)
				}
			}
		}
	}
	if len(asked) < 100 {
		t.Errorf("only %d values were asked for", len(asked))
	}
}

// drawQuery asks for what one of the records has, or for nearly that.
func drawQuery(rt *rapid.T, all []known) store.Query {
	like := all[rapid.IntRange(0, len(all)-1).Draw(rt, "like")]
	q := store.Query{}
	values := like.found
	for _, f := range record.Facets {
		switch own := values[f]; rapid.IntRange(0, 5).Draw(rt, string(f)) {
		case 0, 1:
			if len(own) > 0 {
				q.Terms = append(q.Terms, f.Is(rapid.SampledFrom(own).Draw(rt, "value")))
			}
		case 2:
			if rapid.IntRange(0, 7).Draw(rt, "strange") == 0 {
				q.Terms = append(q.Terms, f.Is(rapid.SampledFrom([]string{"M-2", "SC-02", "T-09", "nobody", "reading"}).Draw(rt, "other")))
			}
		}
	}
	day := 24 * time.Hour
	if rapid.IntRange(0, 2).Draw(rt, "from") == 0 {
		q.From = like.record.At.Add(-rapid.SampledFrom([]time.Duration{0, time.Second, time.Hour, 9 * day}).Draw(rt, "since"))
	}
	if rapid.IntRange(0, 2).Draw(rt, "to") == 0 {
		q.To = like.record.At.Add(rapid.SampledFrom([]time.Duration{0, time.Microsecond, time.Hour, 9 * day}).Draw(rt, "until"))
	}
	if rapid.IntRange(0, 3).Draw(rt, "id") == 0 {
		q.ID = string(like.record.ID[:rapid.SampledFrom([]int{6, 9, 36}).Draw(rt, "characters")])
	}
	if rapid.IntRange(0, 3).Draw(rt, "page") == 0 {
		q.Before = rapid.Int64Range(0, int64(len(all))+1).Draw(rt, "before")
	}
	return q
}

// naive reads every record and what later ones did to it.
func naive(t *testing.T, e Engine, db *store.DB) (all []known) {
	t.Helper()
	places := map[ledger.ID]int{}
	rows, err := e.Raw(t, db.Home()).QueryContext(t.Context(), `SELECT bytes FROM record ORDER BY seq`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var raw []byte
		if err := rows.Scan(&raw); err != nil {
			t.Fatal(err)
		}
		r, err := ledger.Decode(raw)
		if err != nil {
			t.Fatal(err)
		}
		places[r.ID] = len(all)
		all = append(all, known{record: r})
		body := bodyOf(t, r)
		switch {
		case record.KindOf(r) == record.Void:
			done(all, places, r.Corrects, record.StateVoided, record.StateChanged)
		case r.Corrects != "":
			done(all, places, r.Corrects, record.StateCorrected, record.StateChanged)
		case body["finishes"] != nil:
			done(all, places, ledger.ID(body["finishes"].(string)), record.StateCompleted)
		case body["supersedes"] != nil:
			done(all, places, ledger.ID(body["supersedes"].(string)), record.StateCompleted)
		}
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	for i := range all {
		all[i].found = all[i].values(t)
	}
	return all
}

func done(all []known, places map[ledger.ID]int, id ledger.ID, what ...string) {
	i := places[id]
	all[i].did = append(all[i].did, what...)
}

func bodyOf(tb testing.TB, r ledger.Record) (body map[string]any) {
	tb.Helper()
	if err := json.Unmarshal(r.Body, &body); err != nil {
		tb.Fatal(err)
	}
	return body
}

// is says whether a record is what a query asks for.
func (k known) is(q store.Query) bool {
	r := k.record
	if r.At < q.From || q.To != 0 && r.At >= q.To || q.Before != 0 && r.Seq >= q.Before || !strings.HasPrefix(string(r.ID), q.ID) {
		return false
	}
	for _, t := range q.Terms {
		if t.Value != "" && !slices.Contains(k.found[t.Facet], t.Value) {
			return false
		}
	}
	return true
}

// values looks through the whole body for what each facet finds.
func (k known) values(tb testing.TB) map[record.Facet][]string {
	tb.Helper()
	r := k.record
	body := bodyOf(tb, r)
	v := make(map[record.Facet][]string)
	v[record.ByType], v[record.ByPerson], v[record.ByState] = []string{r.Type}, []string{r.By}, slices.Clone(k.did)
	if r.Corrects != "" {
		v[record.ByReference] = []string{string(r.Corrects)}
	}
	for _, id := range r.Because {
		v[record.ByReference] = append(v[record.ByReference], string(id))
	}
	walk(body, func(field string, value any) {
		text, ok := value.(string)
		if !ok {
			return
		}
		if _, err := ledger.ParseID(text); err == nil {
			v[record.ByReference] = append(v[record.ByReference], text)
		}
		switch field {
		case "scope", "scopes", "tag":
			v[record.ByScope] = append(v[record.ByScope], text)
		case "by", "second", "adopted_by", "person":
			v[record.ByPerson] = append(v[record.ByPerson], text)
		case "lot", "disinfectant_lot":
			v[record.ByLot] = append(v[record.ByLot], text)
		case "kit":
			v[record.ByKit] = append(v[record.ByKit], text)
		case "meter":
			v[record.ByMeter] = append(v[record.ByMeter], text)
		case "code":
			if record.KindOf(r) == record.Meter || record.KindOf(r) == record.Comparison {
				v[record.ByMeter] = append(v[record.ByMeter], text)
			} else if record.KindOf(r) != record.Site {
				v[record.ByPerson] = append(v[record.ByPerson], text)
			}
		case "outcome":
			v[record.ByOutcome] = append(v[record.ByOutcome], text)
		case "result", "mec":
			v[record.ByOutcome] = append(v[record.ByOutcome], map[string]string{"pass": "passed", "fail": "failed"}[text])
		}
	})
	if record.KindOf(r) == record.Verification {
		verification := body["verification"].(map[string]any)
		complete, _ := verification["complete"].(bool)
		switch outcome := verification["outcome"]; {
		case outcome == "action":
			v[record.ByOutcome] = append(v[record.ByOutcome], "failed")
		case complete && (outcome == "ok" || outcome == "alert"):
			v[record.ByOutcome] = append(v[record.ByOutcome], "passed")
		case !complete:
			v[record.ByOutcome] = append(v[record.ByOutcome], "incomplete")
		}
	}
	last := r.At
	for _, field := range []string{"end", "returned"} {
		if at, ok := body[field].(float64); ok {
			last = max(last, unit.Instant(at))
		}
	}
	if r.Recorded.Sub(last) > 15*time.Minute {
		v[record.ByLate] = []string{"late"}
	}
	for f := range v {
		v[f] = slices.DeleteFunc(v[f], func(s string) bool { return s == "" })
	}
	return v
}

// walk calls visit for every value of an object, those of objects and lists in it as well.
func walk(value any, visit func(field string, value any)) {
	switch x := value.(type) {
	case map[string]any:
		for name, v := range x {
			if list, ok := v.([]any); ok {
				for _, e := range list {
					visit(name, e)
				}
			}
			visit(name, v)
			walk(v, visit)
		}
	case []any:
		for _, e := range x {
			walk(e, visit)
		}
	}
}

// A folder whose index is damaged says so.
func damagedIndex(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	many(t, db, clock)
	raw := e.Raw(t, db.Home())
	e.Unguard(t, raw)
	for _, text := range []string{`UPDATE search_block SET marks = $1 WHERE term = 'scope=SC-01'`, `UPDATE search_time SET times = $1`} {
		if _, err := raw.ExecContext(t.Context(), text, []byte{1}); err != nil {
			t.Fatal(err)
		}
		err := db.Read(t.Context(), func(tx *store.Tx) error {
			q := store.Query{Terms: []record.Term{record.ByScope.Is("SC-01")}}
			if strings.Contains(text, "times") {
				q = store.Query{To: clock.At()}
			}
			return tx.Finding().Search(q, func(store.Kept) (bool, error) { return true, nil })
		})
		wantCode(t, fmt.Sprint("search after ", text), err, fault.Broken)
	}
}
