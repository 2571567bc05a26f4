package reprocessing

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
)

// A record is evidence where it shows by itself what it says: written when it happened, with every moment and volume
// that the rules ask for, and read on a meter that was good then. What it lacks of that, somebody who may can attest
// by name. Without either it is missing, and what is missing is never good. What speaks against a scope needs no
// evidence.

// LateAfter is how long after its end an act is proof of itself when it is written down, which is a long shift (common
// practice); later somebody has to attest it.
const LateAfter = 12 * time.Hour

// WrittenLate is why an act that ended at an instant proves nothing by itself when it was put on record at another; empty
// when it does.
func WrittenLate(ended, recorded unit.Instant) string {
	if recorded <= ended.Add(LateAfter) {
		return ""
	}
	return fmt.Sprintf("was written down more than %s after it ended", unit.SpanOf(LateAfter))
}

// How long after an act it can be attested: by whoever did it, and by a lead (common practice: the lead's next working
// day, 72 hours at most). Later only a lead can, over a form that its doer signed.
const (
	DoerAttests = 24 * time.Hour
	LeadAttests = 72 * time.Hour
)

// Attestation is somebody's word for what records do not show by themselves.
type Attestation struct {
	Stamp `json:"-"`
	Scope string       `json:"scope"`
	At    unit.Instant `json:"at"`
	By    string       `json:"by"`
	// Of are the records of the acts that it speaks for.
	Of []string `json:"of"`
	// From is what the word rests on.
	From AttestedFrom `json:"from"`
	// Form is the picture of the form that whoever did it signed.
	Form string `json:"form,omitempty"`
	// Pictures are those of the displays, or the laboratory's reports, that show values which were written down too late.
	Pictures []string `json:"pictures,omitempty"`
}

// AttestedFrom is what somebody's word for an act rests on.
type AttestedFrom string

// What the word for an act may rest on.
const (
	OwnAct     AttestedFrom = "own-act"     // whoever attests did it
	WhoDidIt   AttestedFrom = "who-did-it"  // a lead asked whoever did it
	SignedForm AttestedFrom = "signed-form" // a lead saw the form that its doer signed
)

// AttestedFroms lists what the word for an act may rest on.
var AttestedFroms = []AttestedFrom{OwnAct, WhoDidIt, SignedForm}

// Words says what the word for an act rests on.
func (f AttestedFrom) Words() string {
	switch f {
	case OwnAct:
		return "did it"
	case WhoDidIt:
		return "asked who did it"
	case SignedForm:
		return "saw the form that its doer signed"
	}
	return string(f)
}

// Check refuses an attestation that speaks for nothing.
func (a Attestation) Check() error {
	switch {
	case a.Scope == "" || !a.At.Known() || len(a.Of) == 0:
		return fmt.Errorf("attestation: the scope, the time or the records are missing")
	case a.By == "":
		return fmt.Errorf("attestation for %s: who attests?", a.Scope)
	case !slices.Contains(AttestedFroms, a.From):
		return fmt.Errorf("attestation for %s: %q is nothing that it can rest on; allowed: %s", a.Scope, a.From, scope.Words(AttestedFroms))
	case (a.From == SignedForm) != (a.Form != ""):
		return fmt.Errorf("attestation for %s: the picture of the signed form goes with %q, and only with that", a.Scope, SignedForm)
	}
	return nil
}

// In says whether an attestation comes in time for an act that ended at an instant.
func (a Attestation) In(ended unit.Instant) bool {
	switch a.From {
	case OwnAct:
		return a.At <= ended.Add(DoerAttests)
	case WhoDidIt:
		return a.At <= ended.Add(LeadAttests)
	case SignedForm:
		return true
	}
	return false
}

// Lack is why a record proves nothing by itself.
type Lack struct {
	// Why says it as the end of a sentence that begins with the act.
	Why string
	// Final says that nobody's word can stand for it, Value that it is a value, for which a word stands only with a picture
	// of what showed it.
	Final, Value bool
	// Since is when that came to be on record which a word would rest on; one that was given before does not speak of it.
	Since unit.Instant
}

// SetRight is why what was corrected proves nothing by itself: nobody captured it again.
const SetRight = "was corrected after it had stood on record"

// Wanting is an act for which somebody's word would count, and is not on record.
type Wanting struct {
	Record string `json:"record"`
	// What is the act in words, At when it ended and By who did it.
	What string       `json:"what"`
	At   unit.Instant `json:"at"`
	By   string       `json:"by,omitempty"`
	Why  string       `json:"why"`
}

// attested returns the word that counts for what a record of an act that ended at an instant lacks; nil when there is none.
func (h History) attested(id string, ended unit.Instant, lack Lack) *Attestation {
	for i, a := range h.Attestations {
		if lack.Value && len(a.Pictures) == 0 {
			continue
		}
		if id != "" && slices.Contains(a.Of, id) && a.In(ended) && a.At >= lack.Since {
			return &h.Attestations[i]
		}
	}
	return nil
}

// Lacks says why a step that passed proves nothing by itself; nil when it does.
func (s Step) Lacks() *Lack {
	if s.Result == Fail || !s.Recorded.Known() {
		return nil
	}
	var why []string
	if s.Edited {
		why = append(why, SetRight)
	} else if late := WrittenLate(s.last(), s.Recorded); late != "" {
		why = append(why, late)
	}
	if s.Stranger != "" {
		why = append(why, s.Stranger)
	}
	if len(why) == 0 {
		return nil
	}
	return &Lack{Why: strings.Join(why, " and ")}
}

// gap is a point of a verification that passed whose good readings prove nothing.
type gap struct {
	points []scope.PointKind
	lack   Lack
	// samples are those that would count if somebody attested them.
	samples []Taken
}

// Proven says whether a verification that passed is proven by the samples of the history, without anybody's word:
// only then can it end a hold.
func (h History) Proven(d Decision) bool {
	missing, attested := h.weigh(d, h.sampledFrom(d))
	return len(missing) == 0 && len(attested) == 0
}

// sampledFrom returns since when samples belong to a decision: since its cycle began, as that was recorded with it or as
// the history has it now, where the use before it was corrected or the scope came into service anew.
func (h History) sampledFrom(d Decision) unit.Instant { return min(CycleStart(h, d.last()), d.Cycle) }

// weigh looks for what shows that the points of a verification that passed are clean, of the cycle that begins at
// start: missing are those for which nothing does, with why, attested the words that stand for something.
func (h History) weigh(d Decision, start unit.Instant) (missing []gap, attested []Attestation) {
	for _, p := range d.Verification.Points {
		if !p.Outcome.Passed() || p.NotApplicable != "" {
			continue
		}
		lack, sample, word := h.shows(d, p, start)
		switch {
		case word != nil:
			if !slices.ContainsFunc(attested, func(a Attestation) bool { return a.ID == word.ID }) {
				attested = append(attested, *word)
			}
		case lack != nil:
			i := slices.IndexFunc(missing, func(m gap) bool { return m.lack == *lack })
			if i < 0 {
				i, missing = len(missing), append(missing, gap{lack: *lack})
			}
			missing[i].points = append(missing[i].points, p.Point)
			if sample != nil {
				missing[i].samples = append(missing[i].samples, *sample)
			}
		}
	}
	return missing, attested
}

// shows looks for the sample that shows that a point is clean: what is lacking, nil where one proves it or somebody's
// word stands for it; sample is the one for which a word would. A point that was carried over is shown by the last
// cleaning before.
func (h History) shows(d Decision, p reading.PointResult, start unit.Instant) (lack *Lack, sample *Taken, word *Attestation) {
	last := 0
	good := keep(h.Samples, func(t Taken) bool {
		of := t.Point == p.Point && t.Collected >= start && t.Collected <= d.last() && t.passed() &&
			(t.Cleaning == d.Verification.Cleaning || p.Carried && t.Cleaning < d.Verification.Cleaning)
		if of {
			last = max(last, t.Cleaning)
		}
		return of
	})
	lack = &Lack{Why: "no sample of it is on record", Final: true}
	for i, t := range good {
		if t.Cleaning != last {
			continue
		}
		found := t.lacks()
		if p.Carried && !h.cleanedBefore(t.Collected, start) {
			found = &Lack{Why: "it was sampled before any cleaning", Final: true}
		}
		if found == nil {
			return nil, nil, nil
		}
		switch a := h.attested(t.ID, t.Ended(), *found); {
		case found.Final:
			if sample == nil {
				lack = found
			}
		case a != nil:
			word = a
		case sample == nil:
			lack, sample = found, &good[i]
		}
	}
	if word != nil {
		return nil, nil, word
	}
	return lack, sample, nil
}

// cleanedBefore says whether a manual cleaning of the cycle that begins at start had begun by an instant.
func (h History) cleanedBefore(at, start unit.Instant) bool {
	return slices.ContainsFunc(h.Steps, func(s Step) bool { return s.Kind == ManualCleaning && s.Start >= start && s.Start <= at })
}

// passed says whether a reading of the sample lets the scope go on.
func (t Taken) passed() bool {
	return slices.ContainsFunc(t.Judgements, func(j reading.Judgement) bool { return j.Outcome.Passed() })
}

// lacks joins what a sample lacks; nil when it proves what it shows.
func (t Taken) lacks() *Lack {
	if len(t.Lacks) == 0 {
		return nil
	}
	var all Lack
	var why []string
	for _, l := range t.Lacks {
		why = append(why, l.Why)
		all.Final, all.Value = all.Final || l.Final, all.Value || l.Value
		all.Since = max(all.Since, l.Since)
	}
	all.Why = strings.Join(why, "; ")
	return &all
}
