package demo_test

import (
	"context"
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
	"rinsate/internal/demo"
	"rinsate/internal/desk"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite"
)

// today is a Thursday, 14:40 in the hospital.
var today = time.Date(2026, 9, 17, 12, 40, 0, 0, time.UTC)

// built is a data folder after Build, opened again at today.
type built struct {
	dir     string
	summary demo.Summary
	desk    *desk.Desk
}

func build(t *testing.T, o demo.Options) built {
	t.Helper()
	return buildAt(t, today, o)
}

func buildAt(t *testing.T, today time.Time, o demo.Options) built {
	t.Helper()
	b := built{dir: t.TempDir()}
	o.Today = today
	var err error
	if b.summary, err = demo.Build(context.Background(), b.dir, o); err != nil {
		t.Fatal(err)
	}
	db, err := sqlite.Folder(b.dir).Open(context.Background(), func() time.Time { return today })
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	})
	b.desk = desk.New(db)
	return b
}

func (b built) view(tb testing.TB, ask func(desk.View) error) {
	tb.Helper()
	if err := b.desk.View(context.Background(), ask); err != nil {
		tb.Fatal(err)
	}
}

// lines returns every record of every scope, the earliest first.
func (b built) lines(t *testing.T) map[string][]desk.Line {
	t.Helper()
	all := map[string][]desk.Line{}
	b.view(t, func(v desk.View) error {
		fleet, err := v.Registry().Instruments()
		if err != nil {
			return err
		}
		for _, i := range fleet {
			if all[i.Tag], err = v.Chronicle(i.Tag, 0, store.Forever, math.MaxInt32); err != nil {
				return err
			}
			slices.Reverse(all[i.Tag])
		}
		return nil
	})
	return all
}

func (b built) release(t *testing.T, tag string, at unit.Instant) reprocessing.Answer {
	t.Helper()
	var a reprocessing.Answer
	b.view(t, func(v desk.View) (err error) {
		a, err = v.Release(tag, at, store.Forever)
		return err
	})
	return a
}

// here returns what the records alone say: on the first day paper decides, by which people act while the records begin.
func here(a reprocessing.Answer) reprocessing.State {
	if a.State == reprocessing.PaperDecides {
		return a.Paper.Here
	}
	return a.State
}

func body[T any](tb testing.TB, l desk.Line) T {
	tb.Helper()
	var x T
	if err := json.Unmarshal(l.Body, &x); err != nil {
		tb.Fatal(err)
	}
	return x
}

func (b built) stories(name string) []demo.Story {
	return slices.DeleteFunc(slices.Clone(b.summary.Stories), func(s demo.Story) bool { return s.Name != name })
}

func TestBuildKeepsASoundLedger(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	var last, total int
	s, err := demo.Build(context.Background(), dir, demo.Options{Today: today, Cycles: 300, Progress: func(done, of int) { last, total = done, of }})
	if err != nil {
		t.Fatal(err)
	}
	v, err := sqlite.Folder(dir).Verify(context.Background(), nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	if v.Size != s.Records || s.Records < 10*int64(s.Cycles) {
		t.Errorf("%d records are verified, the summary says %d for %d cycles", v.Size, s.Records, s.Cycles)
	}
	if last != total || total != 12 {
		t.Errorf("progress ended at %d of %d days, want 12 of 12", last, total)
	}
	if _, err := demo.Build(context.Background(), dir, demo.Options{Today: today}); fault.CodeOf(err) != fault.Conflict {
		t.Errorf("a second hospital in the same folder: %v", err)
	}
}

// Whoever looks at a year while it is recorded sees its own time go by; at its end the present comes.
func TestYearIsSeenWhileItIsRecorded(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	var y *demo.Year
	var seen []float64
	var sizes []int64
	var err error
	look := func(done, total int) {
		share, more := y.Share()
		if now := y.DB.Now(); !more || share < 0 || share >= 1 || now >= unit.At(today) || now < unit.At(today).AddDays(-13, y.DB.Zone()) {
			t.Errorf("on day %d of %d: %v, %v, at %s", done, total, share, more, now)
		}
		seen = append(seen, share)
		if err := y.DB.Read(ctx, func(tx *store.Tx) error {
			n, err := tx.Size()
			sizes = append(sizes, n)
			return err
		}); err != nil {
			t.Error(err)
		}
	}
	later := today.Add(40 * time.Second)
	y, err = demo.Begin(ctx, t.TempDir(), demo.Options{Today: today, Cycles: 300, Progress: look}, func() time.Time { return later })
	if err != nil {
		t.Fatal(err)
	}
	s, err := y.Record(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if share, more := y.Share(); more || share > 1 || len(seen) < 12 || !slices.IsSorted(seen) || !slices.IsSorted(sizes) || sizes[len(sizes)-1] >= s.Records {
		t.Errorf("at the end %v, %v; before %v with %v of %d records", share, more, seen, sizes, s.Records)
	}
	if now := y.DB.Now(); now != unit.At(later) {
		t.Errorf("at the end it is %s, want %s", now, later)
	}
	if err := y.DB.Close(); err != nil {
		t.Error(err)
	}
}

func TestOptionsAreChecked(t *testing.T) {
	t.Parallel()
	for name, o := range map[string]demo.Options{
		"no day":   {Cycles: 300},
		"too few":  {Today: today, Cycles: 299},
		"negative": {Today: today, Cycles: -1},
	} {
		if _, err := demo.Build(context.Background(), t.TempDir(), o); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

func TestSmallHospital(t *testing.T) {
	t.Parallel()
	b := build(t, demo.Options{Cycles: 300})
	t.Run("counts are those of the records", func(t *testing.T) { counts(t, b) })
	t.Run("scopes are used when ready", func(t *testing.T) { usedWhenReady(t, b) })
	t.Run("how things stand at the end", func(t *testing.T) { atTheEnd(t, b) })
	t.Run("few false NOs", func(t *testing.T) { fewFalse(t, b) })
	t.Run("every kind of hold", func(t *testing.T) { everyHold(t, b) })
}

func counts(t *testing.T, b built) {
	t.Helper()
	got := map[record.Kind]int{}
	for _, lines := range b.lines(t) {
		for _, l := range lines {
			got[l.Type]++
			late := l.Recorded.Sub(l.At)
			if late < 0 {
				t.Errorf("%s of %s was recorded %s before it happened", l.Type, l.At, -late)
			}
			if l.Recorded >= unit.At(today) {
				t.Errorf("%s of %s was recorded at %s, after the data end", l.Type, l.At, l.Recorded)
			}
		}
	}
	s := b.summary
	for typ, want := range map[record.Kind]int{
		record.Use:    s.Cycles + 1, // one was entered for the wrong scope
		record.Sample: s.Samples, record.Reading: s.Readings, record.Hold: s.Holds, record.Void: s.Voids,
	} {
		if got[typ] != want || want == 0 {
			t.Errorf("%d %s records, the summary says %d", got[typ], typ, want)
		}
	}
	if s.Cycles < 250 || s.Cycles > 350 {
		t.Errorf("%d cycles, want about 300", s.Cycles)
	}
	if got[record.Repair] != 2 || got[record.Request] != 1 || got[record.Lift] == 0 || got[record.Moment] == 0 {
		t.Errorf("records of each type: %v", got)
	}
}

func TestSameOptionsGiveTheSameRecords(t *testing.T) {
	t.Parallel()
	dump := func(seed uint64) []string {
		b := build(t, demo.Options{Cycles: 300, Seed: seed})
		var rows []string
		err := b.desk.DB.Read(context.Background(), func(tx *store.Tx) (err error) {
			rows, err = tx.Dump()
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		for tag, lines := range b.lines(t) {
			for _, l := range lines {
				if l.Type != record.Use { // its patient is behind a salt
					rows = append(rows, tag+" "+l.ID+" "+string(l.Body))
				}
			}
		}
		slices.Sort(rows)
		return rows
	}
	first, second, other := dump(7), dump(7), dump(8)
	for i := range first {
		if i >= len(second) || first[i] != second[i] {
			t.Fatalf("row %d of %d and %d differs: %s", i, len(first), len(second), first[i])
		}
	}
	if len(first) != len(second) || slices.Equal(first, other) {
		t.Errorf("%d and %d rows with the same seed, %d with another", len(first), len(second), len(other))
	}
}

// usedWhenReady makes sure that a scope is used only when the release check lets it, but for the one whose
// delay is not soakedFirst.
func usedWhenReady(t *testing.T, b built) {
	t.Helper()
	night := b.stories(demo.DelayedNight)[0]
	unsoakedFirst, used := 0, 0
	for tag, lines := range b.lines(t) {
		begun := unit.Instant(0)
		for _, l := range lines {
			if l.Type != record.Use || l.Replaced.Known() {
				continue
			}
			used++
			at := l.At.Add(-time.Second)
			a := b.release(t, tag, at)
			switch {
			case here(a) == reprocessing.Ready:
			case tag == "D-01" && begun > night.From && begun < night.To:
				unsoakedFirst++
			default:
				t.Errorf("%s was used at %s and was %s: %+v", tag, l.At.In(b.desk.DB.Zone()), a.State, a.Reasons)
			}
			begun = l.At
		}
	}
	if used != b.summary.Cycles || unsoakedFirst != 1 {
		t.Errorf("%d uses of %d, %d after an unsoakedFirst delay, want 1", used, b.summary.Cycles, unsoakedFirst)
	}
}

func atTheEnd(t *testing.T, b built) {
	t.Helper()
	now := unit.At(today)
	answers := map[string]reprocessing.Answer{}
	count := map[reprocessing.State]int{}
	for tag := range b.lines(t) {
		answers[tag] = b.release(t, tag, now)
		count[answers[tag].State]++
	}
	t.Logf("states: %v", count)
	if len(answers) != 29 || count[reprocessing.Ready] < 15 || count[reprocessing.InReprocessing] < 3 || count[reprocessing.OnHold] < 2 {
		t.Errorf("states at the end: %v", count)
	}
	progress := func(tag string, kind reprocessing.StepKind) reprocessing.Progress {
		steps := answers[tag].Steps
		return steps[slices.IndexFunc(steps, func(p reprocessing.Progress) bool { return p.Step == kind })]
	}
	if a := answers["D-04"]; a.State != reprocessing.OnHold || progress("D-04", reprocessing.Verification).Status != reprocessing.FailedStep {
		t.Errorf("D-04 is %s: %+v", a.State, a.Reasons)
	}
	if a, p := answers["C-02"], progress(
		"C-02",
		reprocessing.ManualCleaning,
	); a.State != reprocessing.InReprocessing || p.Status != reprocessing.MissingStep ||
		p.Deadline <= now {
		t.Errorf("C-02 is %s, manual cleaning %+v", a.State, p)
	}
	if a, p := answers["E-03"], progress("E-03", reprocessing.Verification); a.State != reprocessing.InReprocessing || p.Status != reprocessing.RunningStep {
		t.Errorf("E-03 is %s, verification %+v", a.State, p)
	}
	if a := answers["B-04"]; a.State != reprocessing.OnHold {
		t.Errorf("B-04 is %s: %+v", a.State, a.Reasons)
	}
	if a := answers["Y-03"]; a.State != reprocessing.InReprocessing ||
		!slices.ContainsFunc(a.Reasons, func(r reprocessing.Reason) bool { return r.Blocks && strings.Contains(r.Text, "that time ended") }) {
		t.Errorf("Y-03 is %s: %+v", a.State, a.Reasons)
	}
	if a := answers["X-02"]; a.State == reprocessing.Ready || !slices.ContainsFunc(a.Due, func(d sampling.Due) bool { return d.When == sampling.OnArrival }) {
		t.Errorf("X-02 is %s, due %+v", a.State, a.Due)
	}
	for _, s := range b.stories(demo.AtTheEnd) {
		if _, ok := answers[s.Scope]; !ok || s.To != now {
			t.Errorf("story of %s to %s", s.Scope, s.To)
		}
	}
}

// Every kind of hold is told of: one of each was placed, and but for what stands at the end each was lifted.
func everyHold(t *testing.T, b built) {
	t.Helper()
	told := map[reprocessing.HoldKind]int{}
	b.view(t, func(v desk.View) error {
		for _, s := range b.summary.Stories {
			if s.Held == "" {
				continue
			}
			placed, err := v.Show(string(s.Hold))
			if err != nil {
				return err
			}
			if h := body[reprocessing.Hold](t, placed); h.Of() != s.Held || h.Scope != s.Scope {
				t.Errorf("%s: the hold is on %s for %s, the story tells of %s and %s", s.Name, h.Scope, h.Of(), s.Scope, s.Held)
			}
			told[s.Held]++
			if s.Lift == "" {
				if s.Name != demo.AtTheEnd {
					t.Errorf("%s: nobody lifted the hold", s.Name)
				}
				continue
			}
			lifted, err := v.Show(string(s.Lift))
			if err != nil {
				return err
			}
			if l := body[reprocessing.Lift](t, lifted); l.Hold != string(s.Hold) {
				t.Errorf("%s: the lift is that of %s, want %s", s.Name, l.Hold, s.Hold)
			}
		}
		return nil
	})
	for _, kind := range reprocessing.HoldKinds {
		if told[kind] == 0 {
			t.Errorf("no story tells of a hold for %s", kind)
		}
	}
}

// The data may end at any hour.
func TestDataEndAtNight(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, 3, 29, 1, 30, 0, 0, time.UTC) // half an hour after the clocks went forward
	dir := t.TempDir()
	s, err := demo.Build(context.Background(), dir, demo.Options{Today: at, Cycles: 300})
	if err != nil {
		t.Fatal(err)
	}
	if s.Last >= unit.At(at) || s.Last < unit.At(at.Add(-time.Hour)) {
		t.Errorf("the last record was written at %s", s.Last)
	}
}

// Truths of the stories, found in the data of about a hundred days.

// shown is a reading that counts, with the instant and log10 RLU.
type shown struct {
	reading.Reading
	at  unit.Instant
	log float64
}

func TestStoriesAreInTheData(t *testing.T) {
	t.Parallel()
	b := build(t, demo.Options{Cycles: 2500, Seed: 3})
	lines := b.lines(t)
	var all []shown
	for _, list := range lines {
		for _, l := range list {
			if l.Type != record.Reading || l.Replaced.Known() {
				continue
			}
			r := body[reading.Reading](t, l)
			if r.Cleaning == 1 && r.Judgement.Outcome != reading.Void {
				all = append(all, shown{r, r.With.At, math.Log10(max(1, float64(r.Value.Number)))})
			}
		}
	}
	t.Run("shifts", func(t *testing.T) { shifts(t, b, all) })
	t.Run("passing", func(t *testing.T) { passing(t, b, all) })
	t.Run("action cleaning verifications", func(t *testing.T) {
		if rate := float64(b.summary.ActionVerifications) / float64(b.summary.Verifications); rate < 0.04 || rate > 0.08 {
			t.Errorf("%d of %d cleaning verifications are over the action level", b.summary.ActionVerifications, b.summary.Verifications)
		}
	})
	t.Run("cleanings", func(t *testing.T) { cleanings(t, b, lines) })
	t.Run("records", func(t *testing.T) { records(t, b) })
}

// covers says whether a story is about a reading.
func covers(s demo.Story, x shown) bool {
	same := func(mine, its string) bool { return mine == "" || mine == its }
	return s.Shift != 0 && x.at >= s.From && x.at < s.To && same(s.Scope, x.Scope) && same(string(s.Point), string(x.With.Point)) &&
		same(s.Person, x.By) && same(s.Kit, x.With.Kit) && same(s.Lot, x.Lot) && same(s.Meter, x.Meter)
}

// shifts compares the mean of the readings of a story with readings of the same kind of point on the
// same scale that belong to no story, and takes off what other stories add.
func shifts(t *testing.T, b built, all []shown) {
	t.Helper()
	type series struct {
		system string
		point  scope.PointKind
		kind   scope.Kind
	}
	of := func(x shown) series { return series{x.With.System, x.With.Point, x.With.Kind} }
	added := func(x shown, except string) (sum float64) {
		for _, s := range b.summary.Stories {
			if s.Name != except && covers(s, x) {
				sum += s.At(x.at)
			}
		}
		return sum
	}
	sum, n := map[series]float64{}, map[series]float64{}
	for _, x := range all {
		if !slices.ContainsFunc(b.summary.Stories, func(s demo.Story) bool { return covers(s, x) }) {
			sum[of(x)] += x.log
			n[of(x)]++
		}
	}
	found := 0
	for _, s := range b.summary.Stories {
		if s.Shift == 0 {
			continue
		}
		found++
		var got, want, count float64
		for _, x := range all {
			if covers(s, x) {
				got += x.log - sum[of(x)]/n[of(x)] - added(x, s.Name)
				want += s.At(x.at)
				count++
			}
		}
		t.Logf("%s: %+.2f in %.0f readings, planted %+.2f", s.Name, got/count, count, want/count)
		if count < 15 || math.Abs(got-want)/count > 0.12 {
			t.Errorf("%s: %+.2f in %.0f readings, planted %+.2f", s.Name, got/count, count, want/count)
		}
	}
	if found != 6 {
		t.Errorf("%d stories shift readings, want 6", found)
	}
}

func passing(t *testing.T, b built, all []shown) {
	t.Helper()
	s := b.stories(demo.Culture)[0]
	if len(s.Positive) != 1 || s.Positive[0] <= s.From || s.Positive[0] >= s.To {
		t.Errorf("the positive culture was taken at %v, the story is from %s to %s", s.Positive, s.From, s.To)
	}
	for _, x := range all {
		if covers(s, x) && !x.Judgement.Outcome.Passed() {
			t.Errorf("%s is %s at %s", s.Scope, x.Judgement.Outcome, x.at)
		}
	}
}

// cleanings looks for the hurried person and the delayed night.
func cleanings(t *testing.T, b built, lines map[string][]desk.Line) {
	t.Helper()
	leave, night := b.stories(demo.AfterLeave)[0], b.stories(demo.DelayedNight)[0]
	var hurried, unhurried int
	soakedFirst := map[string]bool{}
	for tag, list := range lines {
		var treated, soaked unit.Instant
		for _, l := range list {
			if l.Type != record.Step || l.Replaced.Known() {
				continue
			}
			s := body[reprocessing.Step](t, l)
			switch {
			case s.Kind == reprocessing.PointOfUse:
				treated = s.End
			case s.Kind == reprocessing.Soak:
				soaked = s.End
			case s.Kind != reprocessing.ManualCleaning || !s.End.Known():
			default:
				if takes := s.End.Sub(s.Start); s.By == leave.Person && s.Start >= leave.From && takes < 10*time.Minute {
					hurried++
				} else if takes >= 14*time.Minute {
					unhurried++
				}
				switch late := treated.Known() && s.Start.Sub(treated) > time.Hour; {
				case !late:
				case s.Start >= night.From && s.Start <= night.To:
					soakedFirst[tag] = soaked > treated
				case soaked <= treated: // one that was away is soaked, which takes its time
					t.Errorf("%s was cleaned at %s, %s after point-of-use treatment", tag, s.Start, s.Start.Sub(treated))
				}
				treated = 0
			}
		}
	}
	if hurried < 30 || unhurried < 2000 {
		t.Errorf("%d hurried cleanings, %d others", hurried, unhurried)
	}
	if len(soakedFirst) != 4 || soakedFirst["D-01"] || !soakedFirst["G-01"] || !soakedFirst["G-02"] || !soakedFirst["C-01"] {
		t.Errorf("delayed and soaked: %v", soakedFirst)
	}
}

// records looks at the stories of single records.
func records(t *testing.T, b built) {
	t.Helper()
	types := map[string][]string{}
	b.view(t, func(v desk.View) error {
		for _, s := range b.summary.Stories {
			for _, id := range s.Records {
				l, err := v.Show(string(id))
				if err != nil {
					return err
				}
				types[s.Name] = append(types[s.Name], string(l.Type))
				switch {
				case s.Name == demo.Corrected && l.Corrects != "" && l.Reason == "":
					t.Errorf("the correction %s has no reason", id)
				case s.Name == demo.LateEntry && !l.Late:
					t.Errorf("%s %s is not late", l.Type, id)
				case s.Name == demo.Escalation:
					if lift := body[reprocessing.Lift](t, l); lift.Second == "" || lift.Second == lift.By || lift.Verification == "" {
						t.Errorf("the escalated hold was lifted by %+v", lift)
					}
				}
			}
		}
		return nil
	})
	for name, want := range map[string]string{
		demo.RepairCures: "repair repair", demo.Culture: "hold lift", demo.Escalation: "lift", demo.ExpiredSample: "sample sample sample",
		demo.Voided: "step step void use void", demo.Corrected: "reading reading", demo.LateEntry: "step step", demo.Request: "request",
	} {
		if got := strings.Join(types[name], " "); got != want {
			t.Errorf("%s: records %q, want %q", name, got, want)
		}
	}
}

func BenchmarkFullBuild(b *testing.B) {
	for b.Loop() {
		s, err := demo.Build(context.Background(), b.TempDir(), demo.Options{Today: today})
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(s.Records), "records")
		s.Stories = nil
		b.Logf("%+v", s)
	}
}
