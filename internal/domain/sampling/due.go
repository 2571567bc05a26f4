package sampling

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
)

// Occasion is what makes a verification due.
type Occasion string

// The occasions.
const (
	EveryCycle              Occasion = "every-cycle"
	Periodic                Occasion = "periodic"
	AfterRepair             Occasion = "after-repair"
	AfterFailedVerification Occasion = "after-failed-verification"
	OnArrival               Occasion = "on-arrival"
	OnRequest               Occasion = "on-request"
)

// Occasions lists every occasion.
var Occasions = []Occasion{EveryCycle, Periodic, AfterRepair, AfterFailedVerification, OnArrival, OnRequest}

// Rule makes verifications due.
type Rule struct {
	When Occasion `yaml:"when" json:"when"`
	// Risk and Kinds say which models the rule is for; empty means all.
	Risk  scope.Risk   `yaml:"risk,omitempty" json:"risk,omitempty"`
	Kinds []scope.Kind `yaml:"kinds,omitempty" json:"kinds,omitempty"`
	// Uses and Days are the limits of a periodic rule, whichever comes first; zero means none.
	Uses int `yaml:"uses,omitempty" json:"uses,omitzero"`
	Days int `yaml:"days,omitempty" json:"days,omitzero"`
	// Blocks says that the release check stays shut until the verification is done.
	Blocks bool `yaml:"blocks" json:"blocks"`
	Source `yaml:",inline"`
}

// Check refuses a rule that could never or always fire by accident.
func (r Rule) Check() error {
	switch {
	case !slices.Contains(Occasions, r.When):
		return fmt.Errorf("due rule: when %q is not known; allowed: %s", r.When, scope.Words(Occasions))
	case r.When == Periodic && r.Uses <= 0 && r.Days <= 0:
		return fmt.Errorf("due rule %s: it needs uses or days over 0", r.When)
	case r.When != Periodic && (r.Uses != 0 || r.Days != 0):
		return fmt.Errorf("due rule %s: uses and days belong to a periodic rule only", r.When)
	case r.Risk != "" && r.Risk != scope.HighRisk && r.Risk != scope.StandardRisk:
		return fmt.Errorf("due rule %s: risk %q is not known; allowed: %s, %s", r.When, r.Risk, scope.HighRisk, scope.StandardRisk)
	case r.Citation == "":
		return fmt.Errorf("due rule %s: the citation is missing", r.When)
	}
	for _, k := range r.Kinds {
		if !slices.Contains(scope.Kinds, k) {
			return fmt.Errorf("due rule %s: kind %q is not known; allowed: %s", r.When, k, scope.Words(scope.Kinds))
		}
	}
	return nil
}

func (r Rule) covers(m scope.Model) bool {
	return (r.Risk == "" || r.Risk == m.Risk) && (len(r.Kinds) == 0 || slices.Contains(r.Kinds, m.Kind))
}

// Request is a named person's wish to have a scope sampled.
type Request struct {
	Scope  string            `json:"scope"`
	Points []scope.PointKind `json:"points,omitempty"` // empty: the routine points
	Reason string            `json:"reason"`
	By     string            `json:"by"`
	At     unit.Instant      `json:"at"`
}

// Record is what is known of one scope when it is asked whether a verification is due. All instants are
// at or before the moment asked about; zero means that it never happened.
type Record struct {
	Model      scope.Model
	Instrument scope.Instrument
	// Cleaned is the end of the last manual cleaning of the cycle that is open, zero when
	// none is open or it is not yet cleaned.
	Cleaned unit.Instant
	// CycleStart is the start of the cycle that is open, zero when there is none.
	CycleStart unit.Instant
	// Passed is the last complete verification without an action outcome, Failed the last verification with one.
	Passed, Failed unit.Instant
	// UsesSincePassed counts patient uses since Passed, or since InService when there is none.
	UsesSincePassed int
	// Returned is the last return from repair.
	Returned unit.Instant
	Requests []Request
}

// Due says that a scope must be sampled.
type Due struct {
	Scope  string            `json:"scope"`
	When   Occasion          `json:"when"`
	Points []scope.PointKind `json:"points"`
	// Why is in words of the program; of what a person asked for, Said is the reason and By the person.
	Why    string       `json:"why"`
	Said   string       `json:"said,omitempty"`
	By     string       `json:"by,omitempty"`
	Since  unit.Instant `json:"since"`
	Blocks bool         `json:"blocks"`
	Source
}

// Whole is why, with who asked and what they said.
func (d Due) Whole() string {
	if d.By == "" {
		return d.Why
	}
	return d.Why + " by " + d.By + ": " + d.Said
}

// DueAt returns every reason for which a scope is due at now, the oldest first. Days are calendar
// days in the facility's zone.
func DueAt(rules []Rule, r Record, now unit.Instant, zone *time.Location) []Due {
	if r.Instrument.Retired.Known() && r.Instrument.Retired <= now || r.Instrument.InService > now {
		return nil
	}
	var due []Due
	for _, rule := range rules {
		if !rule.covers(r.Model) {
			continue
		}
		add := func(since unit.Instant, points []scope.PointKind, format string, args ...any) {
			if len(points) == 0 {
				points = r.Model.Routine()
			}
			due = append(due, Due{
				Scope: r.Instrument.Tag, When: rule.When, Points: points, Since: since,
				Why: fmt.Sprintf(format, args...), Blocks: rule.Blocks, Source: rule.Source,
			})
		}
		switch rule.When {
		case EveryCycle:
			if r.CycleStart.Known() && r.Passed < r.CycleStart {
				since := max(r.CycleStart, r.Cleaned)
				add(since, nil, "%s models are sampled in every cycle", describe(rule, r.Model))
			}
		case Periodic:
			from := r.since()
			if rule.Days > 0 {
				if limit := from.AddDays(rule.Days, zone); limit <= now {
					add(limit, nil, "the last passed cleaning verification is more than %d days ago", rule.Days)
					continue
				}
			}
			if rule.Uses > 0 && r.UsesSincePassed >= rule.Uses {
				add(max(r.CycleStart, from), nil, "%d uses since the last passed cleaning verification; the limit is %d", r.UsesSincePassed, rule.Uses)
			}
		case AfterRepair:
			if r.Returned.Known() && r.Passed <= r.Returned {
				add(r.Returned, nil, "back from repair, no cleaning verification has passed since")
			}
		case AfterFailedVerification:
			if r.Failed.Known() && r.Passed <= r.Failed {
				add(r.Failed, nil, "the last cleaning verification was over the action level and no cleaning verification has passed since")
			}
		case OnArrival:
			if r.Instrument.Owner != scope.Own && r.Passed < r.Instrument.InService {
				add(r.Instrument.InService, nil, "%s, no cleaning verification has passed since it arrived", r.Instrument.Owner.Words())
			}
		case OnRequest:
			for _, q := range r.Requests {
				if r.Passed <= q.At && q.At <= now {
					add(q.At, q.Points, "asked for")
					due[len(due)-1].By, due[len(due)-1].Said = q.By, q.Reason
				}
			}
		}
	}
	slices.SortStableFunc(due, func(a, b Due) int { return cmp.Compare(a.Since, b.Since) })
	return due
}

func describe(r Rule, m scope.Model) string {
	if r.Risk != "" {
		return string(r.Risk) + "-risk"
	}
	return string(m.Kind)
}

// since is when the time of a periodic rule begins: with the last passed verification, and with the service where there
// is none. That the scope came back into service since begins nothing anew.
func (r Record) since() unit.Instant {
	if r.Passed.Known() {
		return r.Passed
	}
	return r.Instrument.InService
}

// NextDue returns when a blocking periodic rule will make a scope due by its days, zero when none
// will.
func NextDue(rules []Rule, r Record, zone *time.Location) unit.Instant {
	var next unit.Instant
	for _, rule := range rules {
		if rule.When != Periodic || rule.Days == 0 || !rule.Blocks || !rule.covers(r.Model) {
			continue
		}
		at := r.since().AddDays(rule.Days, zone)
		if !next.Known() || at < next {
			next = at
		}
	}
	return next
}
