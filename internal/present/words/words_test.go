package words

import (
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/trend"
	"rinsate/internal/domain/turnaround"
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
		"state":     keys("state ", turnaround.Ready, turnaround.InWork, turnaround.Unknown, turnaround.Held, turnaround.Out),
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

// No entry of the table is without a word, and a mark never lacks its shape or its colour.
func TestTable(t *testing.T) {
	for k, e := range table {
		account := strings.HasPrefix(string(k), "account ")
		if e.us == "" || !account && (e.shape == "" || e.class == "") {
			t.Errorf("%s: %+v", k, e)
		}
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
		{time.Date(2026, 3, 1, 23, 59, 0, 0, zone), "2026-03-01 23:59", "2026-03-01 23:59"},
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
