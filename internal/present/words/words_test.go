package words

import (
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/record"
)

// keys are those of all values of a type.
func keys[T ~string](kind string, values ...T) []Key {
	all := make([]Key, len(values))
	for i, v := range values {
		all[i] = Key(kind + string(v))
	}
	return all
}

// Every value of the domain that is shown as a mark has a word, a shape that no other value of its kind has,
// and a colour.
func TestEveryValueHasItsMark(t *testing.T) {
	for name, all := range map[string][]Key{
		"state":     keys("state ", reprocessing.States...),
		"outcome":   keys("outcome ", append(slices.Clone(reading.Outcomes), level.Spared)...),
		"life":      keys("life ", trend.LifeStates...),
		"direction": keys("direction ", trend.Higher, trend.Lower, trend.Spread),
		"verdict":   keys("verdict ", quality.Outcomes...),
	} {
		if len(all) < 3 {
			t.Errorf("%s: only %v", name, all)
		}
		seen := map[string]Key{}
		for _, k := range all {
			for _, terms := range []Terms{US, UK} {
				m := terms.Mark(k)
				if _, ok := table[k]; !ok || m.Word == "" || m.Shape == "" || m.Class == "" {
					t.Errorf("%s in terms %d: %+v", k, terms, m)
				}
			}
			shape := US.Mark(k).Shape
			if other, ok := seen[shape]; ok {
				t.Errorf("%s and %s share the shape %s", k, other, shape)
			}
			seen[shape] = k
		}
	}
}

// No entry of the table is without a word, and a mark never lacks its shape or its colour. What is only named
// has neither.
func TestTable(t *testing.T) {
	plain := []string{"account", "step", "owner", "role", "kind", "term"}
	for k, e := range table {
		kind, _, _ := strings.Cut(string(k), " ")
		marked := !slices.Contains(plain, kind)
		if e.us == "" || marked != (e.shape != "") || marked != (e.class != "") || e.uk == "" && e.ukBrief != "" {
			t.Errorf("%s: %+v", k, e)
		}
	}
}

// Every value of the domain that is only named has a name of its own in both terms.
func TestEveryValueHasItsName(t *testing.T) {
	for name, all := range map[string][]Key{
		"step": keys("step ", reprocessing.StepKinds...), "owner": keys("owner ", scope.Owners...), "role": keys("role ", access.Roles...), "kind": keys("kind ",
			record.Kinds...),
	} {
		if len(all) < 3 {
			t.Errorf("%s: only %v", name, all)
		}
		for _, terms := range []Terms{US, UK} {
			seen := map[string]Key{}
			for _, k := range all {
				word := terms.Word(k)
				if _, ok := table[k]; !ok || word == "" {
					t.Errorf("%s in terms %d: %q", k, terms, word)
				}
				if other, ok := seen[word]; ok {
					t.Errorf("%s and %s are both called %q", k, other, word)
				}
				seen[word] = k
			}
		}
	}
}

// Where the two sides differ, each has its own word.
func TestTermsDiffer(t *testing.T) {
	for _, c := range []struct{ us, uk string }{
		{US.Step(reprocessing.PointOfUse), UK.Step(reprocessing.PointOfUse)},
		{US.Owner(scope.Loan), UK.Owner(scope.Loan)},
		{US.Word(Cycle), UK.Word(Cycle)},
		{US.Brief(Reprocessor), UK.Brief(Reprocessor)},
	} {
		if c.us == c.uk || c.us == "" || c.uk == "" {
			t.Errorf("%q and %q", c.us, c.uk)
		}
	}
	if got := US.Step("a-step"); got != "a step" {
		t.Errorf("a step without a word: %q", got)
	}
}

func TestAccount(t *testing.T) {
	for _, c := range []record.AccessChange{
		record.AccountAdded, record.RolesChanged, record.PasswordChanged, record.PINChanged, record.BadgeChanged, record.AccountDisabled,
		record.AccountEnabled, record.AccountReset, record.PasskeyAdded, record.PasskeyRemoved,
	} {
		if _, ok := table[Key("account "+c)]; !ok {
			t.Errorf("%s has no words", c)
		}
	}
	if got := US.Account("not-yet-known"); got != "not yet known" {
		t.Errorf("a change without words: %q", got)
	}
}

// What is missing or not known is never shown as good.
func TestUnknownValues(t *testing.T) {
	for name, got := range map[string]Mark{
		"state": US.State("well"), "outcome": US.Outcome(""), "verdict": US.Verdict("fine"),
	} {
		if got.Shape != "○" || got.Class != "unknown" {
			t.Errorf("%s: %+v", name, got)
		}
	}
	if got := US.Mark("no such key"); got != (Mark{Word: "no such key"}) {
		t.Errorf("%+v", got)
	}
}

// The terms of the United Kingdom fall back on those of the United States, and short words on whole ones.
func TestTerms(t *testing.T) {
	const both, one = Key("test both"), Key("test one")
	table[both] = entry{us: "reprocessing cycle", uk: "decontamination cycle", usBrief: "cycle", shape: "◇", plain: "*", class: "work"}
	table[one] = entry{us: "sample", shape: "◇"}
	t.Cleanup(func() { delete(table, both); delete(table, one) })
	for _, c := range []struct {
		terms       Terms
		key         Key
		word, brief string
	}{
		{US, both, "reprocessing cycle", "* cycle"},
		{UK, both, "decontamination cycle", "* decontamination cycle"},
		{US, one, "sample", "◇ sample"},
		{UK, one, "sample", "◇ sample"},
	} {
		if got := c.terms.Mark(c.key); got.Word != c.word || got.Shape != "◇" {
			t.Errorf("%s: %+v, want %q", c.key, got, c.word)
		}
		if got := c.terms.Brief(c.key); got != c.brief {
			t.Errorf("%s: %q, want %q", c.key, got, c.brief)
		}
	}
}

func TestMoments(t *testing.T) {
	zone := time.FixedZone("", 3600)
	now := unit.At(time.Date(2026, 3, 2, 9, 30, 0, 0, zone))
	for _, c := range []struct {
		at          time.Time
		short, full string
	}{
		{time.Date(2026, 3, 2, 0, 0, 0, 0, zone), "00:00", "2026-03-02 00:00"},
		{time.Date(2026, 3, 1, 23, 59, 0, 0, zone), "yesterday 23:59", "2026-03-01 23:59"},
		{time.Date(2025, 3, 2, 9, 30, 0, 0, zone), "2025-03-02 09:30", "2025-03-02 09:30"},
		{time.Date(2026, 3, 1, 23, 30, 0, 0, time.UTC), "00:30", "2026-03-02 00:30"},
	} {
		if got := Seen(now, zone)(unit.At(c.at)); got != c.short {
			t.Errorf("%s is seen as %q, want %q", c.at, got, c.short)
		}
		if got := Dated(zone)(unit.At(c.at)); got != c.full {
			t.Errorf("%s is dated %q, want %q", c.at, got, c.full)
		}
	}
	if Short(0, now, zone) != "" || Full(0, zone) != "" {
		t.Error("an instant that is not known is written")
	}
	for d, want := range map[time.Duration]string{
		59 * time.Second: "under a minute", time.Minute: "1 min", -time.Hour: "1 h 0 min", 48*time.Hour - time.Minute: "47 h 59 min", 48 * time.Hour: "2 days",
	} {
		if got := Age(d); got != want {
			t.Errorf("%s: %q, want %q", d, got, want)
		}
	}
}

// What is short names the day as people do: by the calendar of the zone, also in the nights when the clock is
// changed and where the week ends.
func TestShort(t *testing.T) {
	berlin, newYork := loaded(t, "Europe/Berlin"), loaded(t, "America/New_York")
	at := func(text string) unit.Instant {
		i, err := time.Parse(time.RFC3339, text)
		if err != nil {
			t.Fatal(err)
		}
		return unit.At(i)
	}
	for _, c := range []struct {
		name      string
		zone      *time.Location
		now, when string
		want      string
	}{
		{"now", berlin, "2026-11-25T09:12:00+01:00", "2026-11-25T09:12:00+01:00", "09:12"},
		{"the first minute of today", berlin, "2026-11-25T09:12:00+01:00", "2026-11-25T00:00:00+01:00", "00:00"},
		{"the last minute of today", berlin, "2026-11-25T09:12:00+01:00", "2026-11-25T23:59:59+01:00", "23:59"},
		{"the last minute of yesterday", berlin, "2026-11-25T09:12:00+01:00", "2026-11-24T23:59:59+01:00", "yesterday 23:59"},
		{"the first minute of tomorrow", berlin, "2026-11-25T09:12:00+01:00", "2026-11-26T00:00:00+01:00", "tomorrow 00:00"},
		{"a minute ago across midnight", berlin, "2026-11-25T00:00:00+01:00", "2026-11-24T23:59:00+01:00", "yesterday 23:59"},
		{"in a minute across midnight", berlin, "2026-11-24T23:59:00+01:00", "2026-11-25T00:00:00+01:00", "tomorrow 00:00"},
		{"the first minute of yesterday", berlin, "2026-11-25T09:12:00+01:00", "2026-11-24T00:00:00+01:00", "yesterday 00:00"},
		{"the last minute before yesterday", berlin, "2026-11-25T09:12:00+01:00", "2026-11-23T23:59:00+01:00", "Mon 23:59"},
		{"the first minute after tomorrow", berlin, "2026-11-25T09:12:00+01:00", "2026-11-27T00:00:00+01:00", "Fri 00:00"},
		{"a Sunday seen on Monday", berlin, "2026-11-23T08:00:00+01:00", "2026-11-22T06:26:00+01:00", "yesterday 06:26"},
		{"a Sunday seen on Tuesday", berlin, "2026-11-24T08:00:00+01:00", "2026-11-22T06:26:00+01:00", "Sun 06:26"},
		{"a Monday seen on Saturday before", berlin, "2026-11-21T08:00:00+01:00", "2026-11-23T07:00:00+01:00", "Mon 07:00"},
		{"six days ago", berlin, "2026-11-25T23:59:00+01:00", "2026-11-19T00:00:00+01:00", "Thu 00:00"},
		{"a week ago", berlin, "2026-11-25T00:00:00+01:00", "2026-11-18T23:59:00+01:00", "2026-11-18 23:59"},
		{"in six days", berlin, "2026-11-25T00:00:00+01:00", "2026-12-01T23:59:00+01:00", "Tue 23:59"},
		{"in a week", berlin, "2026-11-25T23:59:00+01:00", "2026-12-02T00:00:00+01:00", "2026-12-02 00:00"},
		{"across New Year", berlin, "2027-01-01T00:30:00+01:00", "2026-12-31T23:10:00+01:00", "yesterday 23:10"},
		{"the same day of another year", berlin, "2026-11-25T09:12:00+01:00", "2025-11-25T09:12:00+01:00", "2025-11-25 09:12"},
		{"of leap day", berlin, "2028-03-01T01:00:00+01:00", "2028-02-29T22:00:00+01:00", "yesterday 22:00"},

		// In Berlin 29 March 2026 has 23 hours and 25 October 25.
		{"the evening before the short day", berlin, "2026-03-29T23:30:00+02:00", "2026-03-28T23:59:00+01:00", "yesterday 23:59"},
		{"within the short day", berlin, "2026-03-29T23:59:00+02:00", "2026-03-29T00:00:00+01:00", "00:00"},
		{"the short day seen from the next", berlin, "2026-03-30T00:00:00+02:00", "2026-03-29T00:00:00+01:00", "yesterday 00:00"},
		{"23 hours ago is the day before yesterday's end", berlin, "2026-03-30T00:00:00+02:00", "2026-03-28T23:59:00+01:00", "Sat 23:59"},
		{"tomorrow is the short day", berlin, "2026-03-28T23:59:00+01:00", "2026-03-29T23:59:00+02:00", "tomorrow 23:59"},
		{"within the long day", berlin, "2026-10-25T23:59:00+01:00", "2026-10-25T00:00:00+02:00", "00:00"},
		{"the hour that comes twice", berlin, "2026-10-25T12:00:00+01:00", "2026-10-25T02:30:00+01:00", "02:30"},
		{"24 hours ago on the long day", berlin, "2026-10-25T23:30:00+01:00", "2026-10-25T00:30:00+02:00", "00:30"},
		{"the long day seen from the next", berlin, "2026-10-26T00:00:00+01:00", "2026-10-25T00:00:00+02:00", "yesterday 00:00"},
		{"six days before, over the long day", berlin, "2026-10-28T12:00:00+01:00", "2026-10-22T00:00:00+02:00", "Thu 00:00"},
		{"seven days before, over the long day", berlin, "2026-10-28T12:00:00+01:00", "2026-10-21T23:59:00+02:00", "2026-10-21 23:59"},

		// In New York 8 March 2026 has 23 hours and 1 November 25.
		{"the evening before the short day", newYork, "2026-03-08T23:30:00-04:00", "2026-03-07T23:59:00-05:00", "yesterday 23:59"},
		{"within the short day", newYork, "2026-03-08T23:59:00-04:00", "2026-03-08T00:00:00-05:00", "00:00"},
		{"the short day seen from the next", newYork, "2026-03-09T00:00:00-04:00", "2026-03-08T00:00:00-05:00", "yesterday 00:00"},
		{"within the long day", newYork, "2026-11-01T23:59:00-05:00", "2026-11-01T00:00:00-04:00", "00:00"},
		{"the long day seen from the next", newYork, "2026-11-02T00:00:00-05:00", "2026-11-01T00:00:00-04:00", "yesterday 00:00"},
		{"tomorrow is the long day", newYork, "2026-10-31T23:59:00-04:00", "2026-11-01T23:59:00-05:00", "tomorrow 23:59"},
		{"a week later, over the short day", newYork, "2026-03-07T12:00:00-05:00", "2026-03-14T00:00:00-04:00", "2026-03-14 00:00"},
		{"six days later, over the short day", newYork, "2026-03-07T12:00:00-05:00", "2026-03-13T23:59:00-04:00", "Fri 23:59"},

		// One instant is of two days.
		{"here it is tomorrow", berlin, "2026-11-25T23:00:00+01:00", "2026-11-26T00:30:00+01:00", "tomorrow 00:30"},
		{"there it is today", newYork, "2026-11-25T23:00:00+01:00", "2026-11-26T00:30:00+01:00", "18:30"},
	} {
		if got := Short(at(c.when), at(c.now), c.zone); got != c.want {
			t.Errorf("%s: %s seen at %s in %s is %q, want %q", c.name, c.when, c.now, c.zone, got, c.want)
		}
	}
}

func loaded(t *testing.T, name string) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return zone
}

// Sentences of the program are said in the terms of the United Kingdom, with the capital and the plural that
// they have; addresses and longer names stay.
func TestSentence(t *testing.T) {
	for in, want := range map[string]string{
		"point-of-use treatment is not on record":                      "bedside clean is not on record",
		"do and record: point-of-use treatment":                        "do and record: bedside clean",
		"Point-of-use treatment first.":                                "Bedside clean first.",
		"loaner, no cleaning verification has passed since it arrived": "loan scope, no cleaning verification has passed since it arrived",
		"Loaners come and go; a loaner":                                "Loan scopes come and go; a loan scope",
		"All steps of one reprocessing cycle.":                         "All steps of one decontamination cycle.",
		"as a [loaner](/help/glossary#word-loaner).":                   "as a [loan scope](/help/glossary#word-loaner).",
		"[A loaner arrives](loaner.md) in a loaner-cabinet":            "[A loan scope arrives](loaner.md) in a loaner-cabinet",
		"A loaner. Loaners loaner, loanership":                         "A loan scope. Loan scopes loan scope, loanership",
		"reprocessing goes on, then leak test":                         "reprocessing goes on, then leak test",
		"":                                                             "",
	} {
		if got := UK.Sentence(in); got != want {
			t.Errorf("%q is said as %q, want %q", in, got, want)
		}
		if got := US.Sentence(in); got != in {
			t.Errorf("%q is said as %q at home", in, got)
		}
	}
}

// An answer is said in the terms of the site, but not what a person wrote.
func TestAnswer(t *testing.T) {
	a := reprocessing.Answer{
		Reasons: []reprocessing.Reason{{Text: "point-of-use treatment is not on record"}, {Text: "loaner on hold", Said: "the loaner fell down", By: "T-01"}},
		Next:    []string{"do and record: point-of-use treatment"},
		Due: []sampling.Due{
			{When: sampling.OnArrival, Why: "loaner, not sampled"},
			{When: sampling.OnRequest, Why: "asked for", By: "L-01", Said: "the loaner"},
		},
	}
	got := UK.Answer(a)
	if got.Reasons[0].Text != "bedside clean is not on record" || got.Reasons[1].Whole() != "loan scope on hold: the loaner fell down" ||
		got.Next[0] != "do and record: bedside clean" ||
		got.Due[0].Why != "loan scope, not sampled" ||
		got.Due[1].Whole() != "asked for by L-01: the loaner" {
		t.Errorf("%+v", got)
	}
	if a.Reasons[0].Text != "point-of-use treatment is not on record" || a.Next[0] != "do and record: point-of-use "+
		"treatment" || a.Due[0].Why != "loaner, not sampled" {
		t.Errorf("the answer itself was changed: %+v", a)
	}
	if got := UK.Record(record.Step, "point-of-use treatment, note about point-of-use treatment"); got != "bedside clean, note about point-of-use treatment" {
		t.Errorf("a step: %q", got)
	}
	if got := UK.Record(record.Hold, "point-of-use treatment was missed"); got != "point-of-use treatment was missed" {
		t.Errorf("a hold: %q", got)
	}
}

// The outcomes are called as the domain calls them where space is short.
func TestOutcomesAgree(t *testing.T) {
	for _, o := range reading.Outcomes {
		if got := US.Outcome(o).Word; got != o.Brief() {
			t.Errorf("%s is %q here and %q there", o, got, o.Brief())
		}
	}
}

// The instants of an answer are written as they are seen; what a person wrote stays as it is.
func TestClockAnswer(t *testing.T) {
	t.Parallel()
	zone := time.FixedZone("", 3600)
	clock := Seen(unit.At(time.Date(2026, 3, 2, 10, 0, 0, 0, zone)), zone)
	a := reprocessing.Answer{
		Reasons: []reprocessing.Reason{
			{Text: "on hold since 2026-03-01 23:10 +01:00", Said: "seen at 2026-03-02 09:00 +01:00", By: "L-01"},
			{Text: "leak test at 2026-02-27 05:26 +00:00 failed, 2026-99-01 00:00 +01:00"},
		},
		Next: []string{"to begin by 2026-03-02 11:30 +01:00"},
	}
	got := clock.Answer(a)
	want := reprocessing.Answer{
		Reasons: []reprocessing.Reason{
			{Text: "on hold since yesterday 23:10", Said: "seen at 2026-03-02 09:00 +01:00", By: "L-01"},
			{Text: "leak test at Fri 06:26 failed, 2026-99-01 00:00 +01:00"},
		},
		Next: []string{"to begin by 11:30"},
	}
	if !slices.EqualFunc(got.Reasons, want.Reasons, func(x, y reprocessing.Reason) bool { return x.Whole() == y.Whole() }) ||
		!slices.Equal(got.Next, want.Next) {
		t.Errorf("%+v, want %+v", got, want)
	}
	if a.Next[0] != "to begin by 2026-03-02 11:30 +01:00" || a.Reasons[1].Text == got.Reasons[1].Text {
		t.Error("the answer itself was changed")
	}
}
