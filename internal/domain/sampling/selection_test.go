package sampling_test

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// The example that an auditor can redo with nothing but a pocket calculator and
//
//	printf '2026-W10 7f3a\nB-01' | sha256sum
//
// Each u is the first 53 bits of the digest as a fraction, w = (1 + days) · (1 + failures), and the
// key -ln(u)/w; the smallest key is drawn first. The digests below are what sha256sum printed.
//
//	tag   digest            u         days  failures    w  key
//	B-01  0492885432e26ae7  0.017861     9         0   10  0.402514
//	B-02  7eb666028cc515bb  0.494971    99         0  100  0.007033
//	C-01  3660899aaf2bd6fb  0.212411    29         1   60  0.025821
//	D-01  2760d8ddae8da8ff  0.153822    19         0   20  0.093598
//	G-01  c9fae5cfed653901  0.788985   399         0  400  0.000593  overdue: not selected for 365 days
//
// Beside the overdue G-01 each kind needs one (B-02 before C-01 before D-01 by their keys), then each
// process two: machine 1 has B-02 and C-01, by hand it is G-01 and D-01. With five wanted B-01 comes
// last.
func TestSelectWorkedExample(t *testing.T) {
	const seed = "2026-W10 7f3a"
	digests := map[string]string{
		"B-01": "0492885432e26ae7", "B-02": "7eb666028cc515bb", "C-01": "3660899aaf2bd6fb",
		"D-01": "2760d8ddae8da8ff", "G-01": "c9fae5cfed653901",
	}
	now := clock(t, "2026-03-02T08:00:00Z")
	before := func(days int) unit.Instant { return now - unit.Instant(days)*24*hour }
	candidates := []sampling.Candidate{
		{Scope: "B-01", Kind: scope.Bronchoscope, Process: "machine 1", Last: before(9)},
		{Scope: "B-02", Kind: scope.Bronchoscope, Process: "machine 1", Last: before(99)},
		{Scope: "C-01", Kind: scope.Colonoscope, Process: "machine 1", Last: before(29), Failures: 1},
		{Scope: "D-01", Kind: scope.Duodenoscope, Process: "manual", Last: before(19)},
		{Scope: "G-01", Kind: scope.Gastroscope, Process: "manual", Last: before(399)},
	}
	rule := sampling.Selection{PerKind: 1, PerProcess: 2, EveryDays: 365, Size: 5, Source: sampling.Source{Citation: "common practice"}}
	picks, err := sampling.Select(rule, candidates, seed, now, berlin(t))
	if err != nil {
		t.Fatal(err)
	}
	want := []sampling.Pick{
		{Scope: "G-01", Why: "not selected for 365 days"},
		{Scope: "B-02", Why: "at least 1 of each kind"},
		{Scope: "C-01", Why: "at least 1 of each kind"},
		{Scope: "D-01", Why: "at least 1 of each kind"},
		{Scope: "B-01", Why: "random"},
	}
	if diff := cmp.Diff(want, picks); diff != "" {
		t.Errorf("picks (-want +got):\n%s", diff)
	}
	for tag, printed := range digests {
		sum := sha256.Sum256([]byte(seed + "\n" + tag))
		if got := hex.EncodeToString(sum[:8]); got != printed {
			t.Errorf("%s: digest %s, sha256sum printed %s", tag, got, printed)
		}
	}
	t.Run("by an independent computation", func(t *testing.T) {
		keys := map[string]float64{}
		for _, c := range candidates {
			bits, err := strconv.ParseUint(digests[c.Scope], 16, 64)
			if err != nil {
				t.Fatal(err)
			}
			u := (float64(bits>>11) + 0.5) / math.Pow(2, 53)
			days := float64(now-c.Last) / float64(24*hour)
			keys[c.Scope] = -math.Log(u) / ((1 + days) * float64(1+c.Failures))
		}
		printed := map[string]string{"B-01": "0.402514", "B-02": "0.007033", "C-01": "0.025821", "D-01": "0.093598", "G-01": "0.000593"}
		for tag, key := range keys {
			if got := fmt.Sprintf("%.6f", key); got != printed[tag] {
				t.Errorf("%s: key %s, the table above says %s", tag, got, printed[tag])
			}
		}
	})
	t.Run("nothing but random", func(t *testing.T) {
		picks, err := sampling.Select(sampling.Selection{Size: 5}, candidates, seed, now, berlin(t))
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff([]string{"G-01", "B-02", "C-01", "D-01", "B-01"}, tags(picks)); diff != "" {
			t.Errorf("by the keys alone (-want +got):\n%s", diff)
		}
	})
}

func tags(picks []sampling.Pick) []string {
	var list []string
	for _, p := range picks {
		list = append(list, p.Scope)
	}
	return list
}

// drawCandidates makes a small fleet.
func drawCandidates(t *rapid.T, now unit.Instant) []sampling.Candidate {
	n := rapid.IntRange(0, 20).Draw(t, "n")
	fleet := make([]sampling.Candidate, n)
	for i := range fleet {
		fleet[i] = sampling.Candidate{
			Scope:    fmt.Sprintf("X-%02d", i),
			Kind:     rapid.SampledFrom([]scope.Kind{scope.Duodenoscope, scope.Colonoscope, scope.EBUS}).Draw(t, "kind"),
			Process:  rapid.SampledFrom([]string{"machine 1", "machine 2", "manual"}).Draw(t, "process"),
			Last:     now - unit.Instant(rapid.Int64Range(0, int64(500*24*hour)).Draw(t, "ago")),
			Failures: rapid.IntRange(0, 3).Draw(t, "failures"),
		}
	}
	return fleet
}

// Whatever the fleet: the same picks whatever the order of the candidates, each scope once, strata
// filled as far as there are scopes, overdue scopes always in, and no more than was asked for.
func TestSelectProperties(t *testing.T) {
	now, zone := clock(t, "2026-03-02T08:00:00Z"), berlin(t)
	rapid.Check(t, func(t *rapid.T) {
		fleet := drawCandidates(t, now)
		rule := sampling.Selection{
			PerKind: rapid.IntRange(0, 3).Draw(t, "per kind"), PerProcess: rapid.IntRange(0, 3).Draw(t, "per process"),
			Size: rapid.IntRange(0, 10).Draw(t, "size"), EveryDays: rapid.SampledFrom([]int{0, 365}).Draw(t, "every"),
		}
		seed := rapid.StringN(1, 12, -1).Draw(t, "seed")
		given := slices.Clone(fleet)
		picks, err := sampling.Select(rule, fleet, seed, now, zone)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(given, fleet); diff != "" {
			t.Fatalf("the candidates were changed:\n%s", diff)
		}
		shuffled := slices.Clone(fleet)
		order := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "shuffle"), 1))
		order.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		again, err := sampling.Select(rule, shuffled, seed, now, zone)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(picks, again); diff != "" {
			t.Fatalf("another order of the candidates, other picks:\n%s", diff)
		}

		picked := tags(picks)
		if slices.Sort(picked); len(slices.Compact(picked)) != len(picks) {
			t.Fatalf("a scope is picked twice: %v", tags(picks))
		}
		kinds, processes := map[scope.Kind][2]int{}, map[string][2]int{}
		for _, c := range fleet {
			in := 0
			if slices.Contains(tags(picks), c.Scope) {
				in = 1
			}
			kinds[c.Kind] = [2]int{kinds[c.Kind][0] + 1, kinds[c.Kind][1] + in}
			processes[c.Process] = [2]int{processes[c.Process][0] + 1, processes[c.Process][1] + in}
			if overdue := c.Last.AddDays(365, zone) <= now; rule.EveryDays > 0 && overdue && in == 0 {
				t.Fatalf("%s is overdue and not picked", c.Scope)
			}
		}
		for kind, n := range kinds {
			if n[1] < min(n[0], rule.PerKind) {
				t.Fatalf("%s: %d of %d picked, at least %d wanted", kind, n[1], n[0], rule.PerKind)
			}
		}
		for process, n := range processes {
			if n[1] < min(n[0], rule.PerProcess) {
				t.Fatalf("%s: %d of %d picked, at least %d wanted", process, n[1], n[0], rule.PerProcess)
			}
		}
		random := 0
		for _, p := range picks {
			if p.Why == "random" {
				random++
			}
		}
		if len(picks) < min(rule.Size, len(fleet)) || random > 0 && len(picks) > rule.Size {
			t.Fatalf("%d picks (%d random) of %d, size %d", len(picks), random, len(fleet), rule.Size)
		}
	})
}

// In weighted sampling without replacement the first pick falls on a scope with the probability
// w/Σw (Efraimidis & Spirakis, Inf Process Lett 2006;97:181-185). 5 000 draws with the seeds 0 to
// 4999; the tolerance is four standard errors, √(p(1-p)/5000).
func TestSelectWeights(t *testing.T) {
	const draws = 5_000
	now := clock(t, "2026-03-02T08:00:00Z")
	fleet := func(change func(c *sampling.Candidate)) []sampling.Candidate {
		var list []sampling.Candidate
		for i := range 10 {
			c := sampling.Candidate{Scope: fmt.Sprintf("X-%02d", i), Last: now}
			if i == 4 {
				change(&c)
			}
			list = append(list, c)
		}
		return list
	}
	tests := []struct {
		name, reason string
		fleet        []sampling.Candidate
		want         float64
	}{
		{"all alike", "1 of 10", fleet(func(*sampling.Candidate) {}), 0.1},
		{"three failures", "weight 4 against nine times 1", fleet(func(c *sampling.Candidate) { c.Failures = 3 }), 4.0 / 13},
		{"not selected for five days", "weight 6 against nine times 1", fleet(func(c *sampling.Candidate) { c.Last = now - 5*24*hour }), 6.0 / 15},
		{"both", "weight 6 · 4 against nine times 1", fleet(func(c *sampling.Candidate) { c.Last, c.Failures = now-5*24*hour, 3 }), 24.0 / 33},
	}
	zone := berlin(t)
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			hits := 0
			for seed := range draws {
				picks, err := sampling.Select(sampling.Selection{Size: 1}, tt.fleet, strconv.Itoa(seed), now, zone)
				if err != nil {
					t.Fatal(err)
				}
				if picks[0].Scope == "X-04" {
					hits++
				}
			}
			got, tolerance := float64(hits)/draws, 4*math.Sqrt(tt.want*(1-tt.want)/draws)
			if math.Abs(got-tt.want) > tolerance {
				t.Errorf("%s: picked in %.4f of the draws, want %.4f ± %.4f", tt.reason, got, tt.want, tolerance)
			}
		})
	}
}

func TestSelectRefuses(t *testing.T) {
	now, zone := clock(t, "2026-03-02T08:00:00Z"), berlin(t)
	_, err := sampling.Select(sampling.Selection{Size: 1}, nil, "", now, zone)
	wantError(t, err, "the seed is missing")
	twice := []sampling.Candidate{{Scope: "X-01"}, {Scope: "X-02"}, {Scope: "X-01"}}
	_, err = sampling.Select(sampling.Selection{Size: 1}, twice, "seed", now, zone)
	if err == nil || !strings.Contains(err.Error(), "X-01 is given twice") {
		t.Errorf("a scope given twice: %v", err)
	}
}

func TestSelectionCheck(t *testing.T) {
	source := sampling.Source{Citation: "common practice"}
	tests := []struct {
		name    string
		drawing sampling.Selection
		want    string
	}{
		{"good", sampling.Selection{Size: 1, Source: source}, ""},
		{"draws nothing", sampling.Selection{Source: source}, "one of them over 0"},
		{"below zero", sampling.Selection{Size: 5, PerKind: -1, Source: source}, "must be 0 or more"},
		{"no citation", sampling.Selection{Size: 1}, "the citation is missing"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) { wantError(t, tt.drawing.Check(), tt.want) })
	}
}
