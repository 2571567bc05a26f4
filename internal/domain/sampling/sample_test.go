package sampling_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// swab is a surface sample that was just taken.
func swab(at unit.Instant) sampling.Sample {
	return sampling.Sample{Scope: "D-01", Point: scope.OuterDistalEnd, Cleaning: 1, Kit: "surface kit", Lot: "L7", Collected: at}
}

// rinse is a rinsate that was just taken.
func rinse(at unit.Instant) sampling.Sample {
	return sampling.Sample{Scope: "D-01", Point: scope.InstrumentLumen, Cleaning: 1, Kit: "rinsate kit", Lot: "R3", Collected: at, Flushed: 40, Recovered: 38}
}

const (
	us   = unit.Instant(unit.Microsecond)
	sec  = unit.Instant(unit.Second)
	mins = unit.Instant(unit.Minute)
	hour = unit.Instant(unit.Hour)
)

// marks sets instants as offsets from the collection.
func marks(s sampling.Sample, offsets map[sampling.Mark]unit.Instant) sampling.Sample {
	start := s.Collected
	if at, ok := offsets[sampling.Capped]; ok {
		s.Capped = start + at
	}
	if at, ok := offsets[sampling.Uncapped]; ok {
		s.Uncapped = start + at
	}
	if at, ok := offsets[sampling.Dipped]; ok {
		s.Dipped = start + at
	}
	if at, ok := offsets[sampling.Activated]; ok {
		s.Activated = start + at
	}
	if at, ok := offsets[sampling.Read]; ok {
		s.Read = start + at
	}
	return s
}

// The clocks of the preset. Surface: 4 h to activation; rinsate: 15 min to the dip, a closed
// container pauses for up to 4 h; activation within 60 s of the dip; reading within 60 s of the
// activation; shaking at least 5 s. All are common practice, and data of the rule set.
func TestClocks(t *testing.T) {
	clocks := preset(t).Clocks
	start := clock(t, "2026-03-02T08:00:00Z")
	type at = map[sampling.Mark]unit.Instant
	const c, u, d, a, r = sampling.Capped, sampling.Uncapped, sampling.Dipped, sampling.Activated, sampling.Read
	shaken := func(s sampling.Sample, span unit.Span) sampling.Sample {
		s.Shaken = span
		return s
	}
	absent := swab(start)
	absent.Point, absent.NotApplicable = scope.ElevatorWire, "the channel is sealed"
	tests := []struct {
		name, reason string
		sample       sampling.Sample
		now          unit.Instant // after the collection
		state        sampling.State
		why          string // a part
		deadline     unit.Instant
		unproven     []string
	}{
		{name: "swab, fresh", reason: "the 4 h run", sample: swab(start), now: 0, state: sampling.Open, why: "activate the surface sample", deadline: 4 * hour},
		{
			name: "swab, 4 h exactly", reason: "the limit itself is in time", sample: swab(start), now: 4 * hour, state: sampling.Open,
			why: "activate the surface sample", deadline: 4 * hour,
		},
		{
			name: "swab, 4 h and a microsecond", reason: "the limit has passed", sample: swab(start), now: 4*hour + us,
			state: sampling.Void, why: "activate the surface sample: 4h1us after it was collected; at most 4h is allowed",
		},
		{
			name: "swab activated at 4 h", reason: "in time whatever the hour is now", sample: marks(swab(start), at{a: 4 * hour}),
			now: 4*hour + 60*sec, state: sampling.Open, why: "read the activated device", deadline: 4*hour + 60*sec,
		},
		{
			name: "swab activated too late", reason: "the activation counts, not the clock on the wall",
			sample: marks(swab(start), at{a: 4*hour + us}), now: 4*hour + us, state: sampling.Void, why: "at most 4h is allowed",
		},
		{
			name: "swab not read in time", reason: "60 s and a microsecond after the activation",
			sample: marks(swab(start), at{a: 10 * sec}), now: 70*sec + us, state: sampling.Void,
			why: "read the activated device: 1min1us after it was activated; at most 1min is allowed",
		},
		{
			name: "swab read at 60 s", reason: "the limit itself is in time",
			sample: shaken(marks(swab(start), at{a: 10 * sec, r: 70 * sec}), 5*unit.Second), now: 9 * hour, state: sampling.Done,
		},
		{
			name: "swab read at 60 s and a microsecond", reason: "read too late",
			sample: shaken(marks(swab(start), at{a: 10 * sec, r: 70*sec + us}), 5*unit.Second), now: 9 * hour, state: sampling.Void,
			why: "at most 1min is allowed",
		},

		{
			name: "shaken 4 s", reason: "at least 5 s are needed",
			sample: shaken(marks(swab(start), at{a: 10 * sec, r: 20 * sec}), 4*unit.Second), now: 20 * sec, state: sampling.Void,
			why: "shaken for 4s; at least 5s is needed",
		},
		{
			name: "shaken 4 s, not yet read", reason: "void before anybody reads it",
			sample: shaken(marks(swab(start), at{a: 10 * sec}), 4*unit.Second), now: 15 * sec, state: sampling.Void, why: "shaken for 4s",
		},
		{name: "shaken 5 s", reason: "enough", sample: shaken(marks(swab(start), at{a: 10 * sec, r: 20 * sec}), 5*unit.Second), now: 20 * sec, state: sampling.Done},
		{
			name: "shaking not recorded", reason: "a gap in the proof, not a fault",
			sample: marks(swab(start), at{a: 10 * sec, r: 20 * sec}), now: 20 * sec, state: sampling.Done, unproven: []string{"shake"},
		},

		{
			name: "rinsate, dipped at 15 min", reason: "in time; the dipped device is to be activated",
			sample: marks(rinse(start), at{d: 15 * mins}), now: 15 * mins, state: sampling.Open, why: "activate the dipped device",
			deadline: 16 * mins,
		},
		{
			name: "rinsate, dipped too late", reason: "the container stood open", sample: marks(rinse(start), at{d: 15*mins + us}),
			now: 15*mins + us, state: sampling.Void,
			why: "dip into the rinsate: 15min1us after it was collected; at most 15min is allowed",
		},
		{
			name: "rinsate, not activated in time", reason: "60 s from the dip", sample: marks(rinse(start), at{d: 5 * mins}),
			now: 6*mins + us, state: sampling.Void, why: "activate the dipped device",
		},
		{
			name: "rinsate, whole life in time", reason: "every clock at its limit",
			sample: shaken(marks(rinse(start), at{d: 15 * mins, a: 16 * mins, r: 17 * mins}), 5*unit.Second), now: 17 * mins,
			state: sampling.Done,
		},

		{
			name: "capped pauses", reason: "4 h in the closed container do not count; 10 + 5 min open do",
			sample: marks(rinse(start), at{c: 10 * mins, u: 10*mins + 4*hour, d: 4*hour + 15*mins}), now: 4*hour + 15*mins,
			state: sampling.Open, why: "activate the dipped device", deadline: 4*hour + 16*mins,
		},
		{
			name: "capped, then open too long", reason: "10 min before, 5 min and a microsecond after",
			sample: marks(rinse(start), at{c: 10 * mins, u: 10*mins + 4*hour, d: 4*hour + 15*mins + us}), now: 5 * hour,
			state: sampling.Void, why: "at most 15min is allowed",
		},
		{
			name: "capped, still closed", reason: "the limit of the closed container runs", sample: marks(rinse(start), at{c: 10 * mins}),
			now: 4*hour + 10*mins, state: sampling.Open, why: "dip into the rinsate", deadline: 4*hour + 10*mins,
		},
		{
			name: "capped too long", reason: "closed for 4 h and a microsecond", sample: marks(rinse(start), at{c: 10 * mins}),
			now: 4*hour + 10*mins + us, state: sampling.Void, why: "the closed container stood 4h1us; at most 4h is allowed",
		},
		{
			name: "uncapped too late", reason: "what was closed too long stays void after it is opened",
			sample: marks(rinse(start), at{c: 10 * mins, u: 4*hour + 10*mins + us}), now: 4*hour + 10*mins + us, state: sampling.Void,
			why: "the closed container stood 4h1us",
		},
		{
			name: "capped too late", reason: "closing a container that stood open too long saves nothing",
			sample: marks(rinse(start), at{c: 15*mins + us}), now: 16 * mins, state: sampling.Void, why: "at most 15min is allowed",
		},
		{
			name: "opening not recorded", reason: "nobody knows how long it stood open again",
			sample: shaken(marks(rinse(start), at{c: mins, d: 2 * hour, a: 2*hour + sec, r: 2*hour + 2*sec}), 5*unit.Second),
			now:    3 * hour, state: sampling.Done, unproven: []string{"dip into the rinsate"},
		},

		{
			name: "dip not recorded", reason: "two clocks cannot be judged",
			sample: shaken(marks(rinse(start), at{a: 3 * mins, r: 4 * mins}), 5*unit.Second), now: 5 * mins, state: sampling.Done,
			unproven: []string{"dip into the rinsate", "activate the dipped device"},
		},
		{
			name: "activation not recorded", reason: "surface: both clocks hang on it", sample: marks(swab(start), at{r: 10 * mins}),
			now: 10 * mins, state: sampling.Done, unproven: []string{"activate the surface sample", "read the activated device"},
		},
		{
			name: "only read, at the sum of all clocks", reason: "surface: 4 h + 60 s", sample: marks(swab(start), at{r: 4*hour + mins}),
			now: 5 * hour, state: sampling.Done, unproven: []string{"activate the surface sample", "read the activated device"},
		},
		{
			name: "only read, later than all clocks together", reason: "no valid life of a sample is that long",
			sample: marks(swab(start), at{r: 4*hour + mins + us}), now: 5 * hour, state: sampling.Void,
			why: "4h1min since collection; all clocks together allow 4h1min",
		},
		{
			name: "rinsate, only read, at the sum of all clocks", reason: "15 min + 4 h + 60 s + 60 s",
			sample: marks(rinse(start), at{r: 4*hour + 17*mins}), now: 5 * hour, state: sampling.Done,
			unproven: []string{"dip into the rinsate", "activate the dipped device", "read the activated device"},
		},
		{
			name: "rinsate, only read, later than all clocks together", reason: "no valid life of a sample is that long",
			sample: marks(rinse(start), at{r: 4*hour + 17*mins + us}), now: 5 * hour, state: sampling.Void,
			why: "all clocks together allow 4h17min",
		},
		{
			name: "activated too late to be read in time", reason: "the total bound runs before the reading, too",
			sample: marks(rinse(start), at{a: 4*hour + 17*mins + us}), now: 4*hour + 17*mins + us, state: sampling.Void,
			why: "all clocks together allow 4h17min",
		},

		{name: "not applicable", reason: "no clock runs on what was not taken", sample: absent, now: 9 * hour, state: sampling.Absent, why: "the channel is sealed"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if err := tt.sample.Check(); err != nil {
				t.Fatal(err)
			}
			got := clocks.Judge(tt.sample, start+tt.now)
			if got.State != tt.state {
				t.Fatalf("%s: %s (%s), want %s", tt.reason, got.State, got.Why, tt.state)
			}
			if tt.why == "" && got.Why != "" || !strings.Contains(got.Why, tt.why) {
				t.Errorf("%s: why %q, want %q in it", tt.reason, got.Why, tt.why)
			}
			deadline := got.Deadline
			if deadline.Known() {
				deadline -= start
			}
			if deadline != tt.deadline {
				t.Errorf("%s: deadline after %s, want after %s", tt.reason, unit.Span(deadline), unit.Span(tt.deadline))
			}
			if diff := cmp.Diff(tt.unproven, got.Unproven); diff != "" {
				t.Errorf("%s: unproven (-want +got):\n%s", tt.reason, diff)
			}
		})
	}
}

// draw makes a sample whose marks are in order and not beyond now.
func drawSample(t *rapid.T) (sampling.Sample, unit.Instant) {
	start := unit.Instant(1_772_438_400_000_000) // 2026-03-02T08:00:00Z
	s := rinse(start)
	if rapid.Bool().Draw(t, "surface") {
		s = swab(start)
	}
	gap := func(name string) unit.Instant {
		return rapid.OneOf(
			rapid.SampledFrom([]unit.Instant{0, us, 60 * sec, 60*sec + us, 15 * mins, 15*mins + us, 4 * hour, 4*hour + us}),
			rapid.Custom(func(t *rapid.T) unit.Instant { return unit.Instant(rapid.Int64Range(0, int64(6*hour)).Draw(t, "µs")) }),
		).Draw(t, name)
	}
	at := start
	for _, m := range sampling.Marks[1:] {
		at += gap("to " + string(m))
		if s.Method() == sampling.Surface && m != sampling.Activated && m != sampling.Read || rapid.Bool().Draw(t, "skip "+string(m)) {
			continue
		}
		s = with(t, s, m, at)
	}
	s.Shaken = rapid.SampledFrom([]unit.Span{0, 4 * unit.Second, 5 * unit.Second}).Draw(t, "shaken")
	return s, at + gap("to now")
}

func with(t *rapid.T, s sampling.Sample, m sampling.Mark, at unit.Instant) sampling.Sample {
	s, err := s.Set(m, at)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestLaterNeverSaves(t *testing.T) {
	clocks := preset(t).Clocks
	rapid.Check(t, func(t *rapid.T) {
		s, now := drawSample(t)
		later := now + unit.Instant(rapid.Int64Range(0, int64(9*hour)).Draw(t, "later"))
		before, after := clocks.Judge(s, now), clocks.Judge(s, later)
		if before.State == sampling.Void && after.State != sampling.Void {
			t.Fatalf("void (%s) became %s", before.Why, after.State)
		}
		if before.State == sampling.Open && before.Deadline.Known() && before.Deadline < later && after.State != sampling.Void {
			t.Fatalf("deadline %s passed, yet %s", before.Deadline, after.State)
		}
		if before.State == sampling.Open && !before.Deadline.Known() {
			t.Fatalf("open without a deadline: %+v", before)
		}
	})
}

// Stretching the time between two marks never saves a void sample: every mark from one on moves by
// the same time, and so does now. A longer stay in the closed container is the one stretch that
// leaves the sum of the open times as it was, and it too saves nothing.
func TestStretchNeverSaves(t *testing.T) {
	clocks := preset(t).Clocks
	rapid.Check(t, func(t *rapid.T) {
		s, now := drawSample(t)
		by := unit.Instant(rapid.Int64Range(0, int64(9*hour)).Draw(t, "by"))
		from := rapid.IntRange(1, len(sampling.Marks)-1).Draw(t, "from")
		stretched := s
		for _, m := range slices.Backward(sampling.Marks[from:]) {
			if at := s.At(m); at.Known() {
				stretched = with(t, stretched, m, at+by)
			}
		}
		before, after := clocks.Judge(s, now), clocks.Judge(stretched, now+by)
		if before.State == sampling.Void && after.State != sampling.Void {
			t.Fatalf("void (%s) became %s after %s was moved by %s", before.Why, after.State, sampling.Marks[from], unit.Span(by))
		}
	})
}

func TestSampleCheck(t *testing.T) {
	start := clock(t, "2026-03-02T08:00:00Z")
	tests := []struct {
		name   string
		change func(*sampling.Sample)
		want   string
	}{
		{"good", func(*sampling.Sample) {}, ""},
		{"marks at one instant", func(s *sampling.Sample) { s.Dipped, s.Activated, s.Read = start, start, start }, ""},
		{"all came back", func(s *sampling.Sample) { s.Recovered = 40 }, ""},
		{"not applicable needs no kit", func(s *sampling.Sample) { s.NotApplicable, s.Kit, s.Lot = "the channel is sealed", "", "" }, ""},
		{"no scope", func(s *sampling.Sample) { s.Scope = "" }, "sample: the scope is missing"},
		{"unknown point", func(s *sampling.Sample) { s.Point = "handle" }, `point "handle" is not known`},
		{"not collected", func(s *sampling.Sample) { s.Collected = 0 }, "when was it collected?"},
		{"cleaning 0", func(s *sampling.Sample) { s.Cleaning = 0 }, "the cleaning is counted from 1"},
		{"flush below zero", func(s *sampling.Sample) { s.Flushed, s.Recovered = -1, 0 }, "a volume or a time is below zero"},
		{"recovery below zero", func(s *sampling.Sample) { s.Recovered = -1 }, "a volume or a time is below zero"},
		{"shaking below zero", func(s *sampling.Sample) { s.Shaken = -1 }, "a volume or a time is below zero"},
		{"more out than in", func(s *sampling.Sample) { s.Recovered = 41 }, "41 mL recovered of 40 mL flushed: more came out than went in"},
		{"no kit", func(s *sampling.Sample) { s.Kit = "" }, "the kit and its lot are missing"},
		{"no lot", func(s *sampling.Sample) { s.Lot = "" }, "the kit and its lot are missing"},
		{
			"dipped before collected", func(s *sampling.Sample) { s.Dipped = start - 1 },
			"it was dipped before it was collected",
		},
		{"read before activated", func(s *sampling.Sample) { s.Activated, s.Read = start+2, start+1 }, "before it was activated"},
		{"uncapped before capped", func(s *sampling.Sample) { s.Capped, s.Uncapped = start+2, start+1 }, "before it was capped"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := rinse(start)
			tt.change(&s)
			wantError(t, s.Check(), tt.want)
		})
	}
}

func TestAddMoment(t *testing.T) {
	start := clock(t, "2026-03-02T08:00:00Z")
	s := rinse(start)
	for i, m := range sampling.Marks[1:] {
		var err error
		moment := sampling.Moment{Scope: "D-01", Mark: m, At: start + unit.Instant(i+1)*sec}
		if m == sampling.Activated {
			moment.Shaken = 6 * unit.Second
		}
		if s, err = s.Add(moment); err != nil {
			t.Fatal(err)
		}
	}
	want := rinse(start)
	want.Capped, want.Uncapped, want.Dipped = start+sec, start+2*sec, start+3*sec
	want.Activated, want.Read, want.Shaken = start+4*sec, start+5*sec, 6*unit.Second
	if diff := cmp.Diff(want, s); diff != "" {
		t.Errorf("sample (-want +got):\n%s", diff)
	}
	if _, err := s.Add(sampling.Moment{Mark: "frozen", At: start}); err == nil {
		t.Error("an unknown mark was accepted")
	}
	if _, err := s.Add(sampling.Moment{Mark: sampling.Read, At: start}); err == nil {
		t.Error("a reading before the dip was accepted")
	}
	if moved, err := s.Set(sampling.Collected, start-sec); err != nil || moved.At(sampling.Collected) != start-sec {
		t.Errorf("collected at %s (%v), want %s", moved.At(sampling.Collected), err, start-sec)
	}
	if got := s.At("frozen"); got.Known() {
		t.Errorf("an unknown mark is at %s", got)
	}
}

func TestFlaws(t *testing.T) {
	start := clock(t, "2026-03-02T08:00:00Z")
	point := scope.Point{Kind: scope.InstrumentLumen, DeadVolume: 18.7}
	tests := []struct {
		name, reason string
		recovered    unit.Millilitres
		point        scope.Point
		want         []string
		flushed      unit.Millilitres // 40 mL where nothing is said
	}{
		{"more than the channel holds", "it was in contact with the whole channel", 19, point, nil, 0},
		{"exactly what it holds", "not less than the dead volume", 18.7, point, nil, 0},
		{"less than it holds", "mostly dead volume", 18, point, []string{"18 mL recovered is less than the 18.7 mL that the channel holds"}, 0},
		{"not measured", "unknown is not judged here", 0, point, nil, 0},
		{"a surface", "it holds nothing", 1, scope.Point{Kind: scope.OuterDistalEnd}, nil, 0},
		{
			"a sealed channel", "nobody could have sampled it", 19,
			scope.Point{NotApplicable: "the channel is sealed"},
			[]string{"a sample of a point that cannot be sampled: the channel is sealed"}, 0,
		},
		{"less flushed than it holds", "the fluid never left the channel", 0, point, []string{"2 mL flushed is less than the 18.7 mL that the channel holds"}, 2},
		{"ten times the flush", "residue is thinned, the level is not", 0, point, []string{"400 mL flushed; the protocol asks for 40 mL, give or take a tenth"}, 400},
		{"a tenth more", "give or take a tenth", 0, point, nil, 44},
		{"over a tenth more", "give or take a tenth", 0, point, []string{"44.1 mL flushed; the protocol asks for 40 mL, give or take a tenth"}, 44.1},
		{"a tenth less", "give or take a tenth", 0, point, nil, 36},
		{"over a tenth less", "give or take a tenth", 0, point, []string{"35.9 mL flushed; the protocol asks for 40 mL, give or take a tenth"}, 35.9},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := rinse(start)
			s.Recovered = tt.recovered
			if tt.flushed > 0 {
				s.Flushed = tt.flushed
			}
			if diff := cmp.Diff(tt.want, s.Flaws(tt.point, 40)); diff != "" {
				t.Errorf("%s (-want +got):\n%s", tt.reason, diff)
			}
		})
	}
	absent := sampling.Sample{NotApplicable: "the channel is sealed"}
	if flaws := absent.Flaws(scope.Point{NotApplicable: "the channel is sealed"}, 0); len(flaws) != 0 {
		t.Errorf("a point recorded as not applicable has flaws: %q", flaws)
	}
}

func TestClocksCheck(t *testing.T) {
	tests := []struct {
		name   string
		change func(*sampling.Clocks)
		want   string
	}{
		{"good", func(*sampling.Clocks) {}, ""},
		{"unknown mark", func(c *sampling.Clocks) { c.Limits[0].From = "taken" }, `from "taken" to "activated": allowed: collected, capped`},
		{"backwards", func(c *sampling.Clocks) { c.Limits[0].From = sampling.Read }, "activated comes before read"},
		{"from a mark to itself", func(c *sampling.Clocks) { c.Limits[0].From = sampling.Activated }, "activated comes before activated"},
		{"no time", func(c *sampling.Clocks) { c.Limits[0].Within = 0 }, "must be longer than zero"},
		{"closed for less than no time", func(c *sampling.Clocks) { c.Limits[1].CappedWithin = -1 }, "must be longer than zero"},
		{"unknown method", func(c *sampling.Clocks) { c.Limits[0].Method = "brush" }, `method "brush" is not known; allowed: surface, rinsate`},
		{"no citation", func(c *sampling.Clocks) { c.Limits[0].Citation = "" }, "the citation is missing"},
		{"shaking below zero", func(c *sampling.Clocks) { c.Shake = -1 }, "shaking is below zero"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := preset(t).Clocks
			tt.change(&c)
			wantError(t, c.Check(), tt.want)
		})
	}
}

func TestShakingEnds(t *testing.T) {
	start := clock(t, "2026-03-02T08:00:00Z")
	s := swab(start)
	if _, err := s.Set(sampling.Shaken, start+sec); err == nil {
		t.Error("shaking ended before the device was activated")
	}
	s, err := s.Set(sampling.Activated, start+10*sec)
	if err != nil {
		t.Fatal(err)
	}
	if got := s.At(sampling.Shaken); got.Known() {
		t.Errorf("shaking that nobody ended is over at %s", got)
	}
	if _, err := s.Set(sampling.Shaken, start+9*sec); err == nil {
		t.Error("shaking ended before it began")
	}
	if s, err = s.Add(sampling.Moment{Mark: sampling.Shaken, At: start + 16*sec}); err != nil || s.Shaken != 6*unit.Second ||
		s.At(sampling.Shaken) != start+16*sec {
		t.Errorf("shaken for %s until %s (%v), want 6s until %s", s.Shaken, s.At(sampling.Shaken), err, start+16*sec)
	}
}
