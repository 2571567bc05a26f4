package sampling

import (
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
)

// Selection is the rule for the periodic random selection of scopes. The defaults of the rule set follow the
// German recommendation cited there: at each visit at least one scope of each kind and two of each
// process, each scope at least once a year.
type Selection struct {
	PerKind    int `yaml:"per_kind" json:"per_kind"`
	PerProcess int `yaml:"per_process" json:"per_process"`
	// EveryDays is the longest time a scope may stay unselected.
	EveryDays int `yaml:"every_days" json:"every_days"`
	// Size is the least number of scopes selected; the strata may ask for more.
	Size   int `yaml:"size" json:"size"`
	Source `yaml:",inline"`
}

// Check refuses a rule that selects nothing.
func (d Selection) Check() error {
	if d.PerKind < 0 || d.PerProcess < 0 || d.Size < 0 || d.EveryDays < 0 || d.PerKind+d.PerProcess+d.Size+d.EveryDays == 0 {
		return fmt.Errorf("selection: per_kind, per_process, every_days and size must be 0 or more, and one of them over 0")
	}
	if d.Citation == "" {
		return fmt.Errorf("selection: the citation is missing")
	}
	return nil
}

// Candidate is a scope that may be selected.
type Candidate struct {
	Scope string     `json:"scope"`
	Kind  scope.Kind `json:"kind"`
	// Process is how it is reprocessed: the reprocessor's name, or "manual".
	Process string `json:"process"`
	// Last is when it was last selected or, never selected, when it came into service.
	Last unit.Instant `json:"last"`
	// Failures counts its verifications over the action level in the past year.
	Failures int `json:"failures"`
}

// Pick is one selected scope and why.
type Pick struct {
	Scope string `json:"scope"`
	Why   string `json:"why"`
}

// Select picks scopes at random, and the same scopes again for the same arguments, so that an
// auditor can repeat it. Scopes that were not selected for EveryDays are always picked; then each
// kind and each process is filled to its least number, and the rest up to Size.
//
// The order of preference is weighted sampling without replacement (Efraimidis & Spirakis, Inf
// Process Lett 2006;97:181–185): a scope's key is -ln(u)/w, smallest first, with u the first 53
// bits of SHA-256(seed, a line feed, tag) as a fraction, taken at the middle of its interval, and
// weight w = (1 + days since last selected) · (1 + failures). The order in which candidates are given
// does not matter.
func Select(rule Selection, candidates []Candidate, seed string, now unit.Instant, zone *time.Location) ([]Pick, error) {
	if seed == "" {
		return nil, fmt.Errorf("selection: the seed is missing; without it nobody could repeat the selection")
	}
	type entry struct {
		Candidate
		key float64
	}
	order := make([]entry, len(candidates))
	for i, c := range candidates {
		days := max(0, now.Sub(c.Last).Hours()/24)
		order[i] = entry{c, -math.Log(fraction(seed, c.Scope)) / ((1 + days) * float64(1+c.Failures))}
	}
	slices.SortFunc(order, func(a, b entry) int {
		return cmp.Or(cmp.Compare(a.key, b.key), cmp.Compare(a.Scope, b.Scope))
	})
	for i := 1; i < len(order); i++ {
		if order[i].Scope == order[i-1].Scope {
			return nil, fmt.Errorf("selection: scope %s is given twice", order[i].Scope)
		}
	}

	var picks []Pick
	picked := map[string]bool{}
	kinds, processes := make(map[scope.Kind]int), make(map[string]int)
	take := func(why string, wanted func(entry) bool) {
		for _, e := range order {
			if !picked[e.Scope] && wanted(e) {
				picks = append(picks, Pick{e.Scope, why})
				picked[e.Scope] = true
				kinds[e.Kind]++
				processes[e.Process]++
			}
		}
	}
	if rule.EveryDays > 0 {
		take(fmt.Sprintf("not selected for %d days", rule.EveryDays), func(e entry) bool { return e.Last.AddDays(rule.EveryDays, zone) <= now })
	}
	take(fmt.Sprintf("at least %d of each kind", rule.PerKind), func(e entry) bool { return kinds[e.Kind] < rule.PerKind })
	take(fmt.Sprintf("at least %d of each process", rule.PerProcess), func(e entry) bool { return processes[e.Process] < rule.PerProcess })
	take("random", func(entry) bool { return len(picks) < rule.Size })
	return picks, nil
}

// fraction returns a number in (0, 1) that depends on the seed and the tag alone.
func fraction(seed, tag string) float64 {
	sum := sha256.Sum256([]byte(seed + "\n" + tag))
	bits := binary.BigEndian.Uint64(sum[:8]) >> 11
	return (float64(bits) + 0.5) / (1 << 53)
}
