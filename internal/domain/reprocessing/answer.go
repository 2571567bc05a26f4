package reprocessing

import (
	"fmt"
	"slices"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/sampling"
)

// State is the release check's answer in one word.
type State string

// The states. Only Ready lets a scope be used.
const (
	Ready State = "ready"
	// PaperDecides is what is ready by the records of a site that has not been started.
	PaperDecides State = "paper decides"
	// NothingAgainst says that nothing here speaks against the scope, and that what it cannot do without is on record
	// elsewhere: whoever keeps that releases it.
	NothingAgainst State = "nothing against it here"
	InReprocessing State = "in reprocessing"
	OnHold         State = "on hold"
	OutOfService   State = "out of service"
	NotKnown       State = "not known"
)

// States lists every state, the most usable first.
var States = []State{Ready, PaperDecides, NothingAgainst, InReprocessing, NotKnown, OnHold, OutOfService}

// Clear says that nothing on record here speaks against the scope: it is ready, or whoever checks the rest releases it.
func (s State) Clear() bool { return s == Ready || s == NothingAgainst }

// Reason is one fact that the answer rests on.
type Reason struct {
	// Text is in words of the program, and Said is what a person typed about it: apart, since in a free text
	// anybody may be named, and the answer is also for whoever has not signed in.
	Text string `json:"text"`
	Said string `json:"said,omitempty"`
	// By is the code of the person whose act it is, apart from the text so that it can be left out
	// where people are not to be seen.
	By string `json:"by,omitempty"`
	// Record is the id of the record that shows it; empty when it is the lack of one.
	Record string `json:"record,omitempty"`
	// Citation is where the rule comes from; Unverified says that the facility has not checked it.
	Citation   string `json:"citation,omitempty"`
	Unverified bool   `json:"unverified,omitempty"`
	// Blocks says that this alone keeps the scope from patients.
	Blocks bool `json:"blocks"`
	// Since is when the hold was placed that the reason tells of; zero for other reasons.
	Since unit.Instant `json:"since,omitzero"`
}

// Whole is the reason with what a person said about it, for whoever may read that.
func (r Reason) Whole() string {
	if r.Said == "" {
		return r.Text
	}
	return r.Text + ": " + r.Said
}

// Public is the reason for whoever has not signed in.
func (r Reason) Public() string {
	switch {
	case r.Said == "":
		return r.Text
	case r.Since.Known():
		return r.Text + ", placed by a person: sign in to see why"
	}
	return r.Text + ": sign in to see more"
}

func cite(r Reason, s sampling.Source) Reason {
	r.Citation, r.Unverified = s.Citation, !s.Verified
	return r
}

// Progress is how far one step of the cycle is.
type Progress struct {
	Step   StepKind     `json:"step"`
	Status Status       `json:"status"`
	Record string       `json:"record,omitempty"`
	Start  unit.Instant `json:"start,omitzero"`
	End    unit.Instant `json:"end,omitzero"`
	// Deadline is when the step must have begun; zero when no clock runs for it.
	Deadline unit.Instant `json:"deadline,omitzero"`
}

// Against returns in words what keeps the scope from patients of one record; empty where nothing does.
func (a Answer) Against(id string) string {
	for _, r := range a.Reasons {
		if r.Blocks && id != "" && r.Record == id {
			return r.Whole()
		}
	}
	return ""
}

// BeforeSampling returns the first step that has to be done before a sample of a cleaning verification counts, empty when
// none has: what is on record and only asks for somebody's word has not.
func (a Answer) BeforeSampling() StepKind {
	i := slices.IndexFunc(a.Steps, func(p Progress) bool { return p.Step == Verification })
	for _, p := range a.Steps[:max(i, 0)] {
		if p.Status.lacks() && (p.Status != MissingStep || p.Record == "") {
			return p.Step
		}
	}
	return ""
}

// worse returns the one of two that says more against the scope; where neither does, the one that was done.
func (p Progress) worse(other Progress) Progress {
	switch {
	case p.Status.lacks():
		return p
	case other.Status.lacks(), p.Status == NotDueStep:
		return other
	}
	return p
}

// Status is where a step stands.
type Status string

// The statuses.
const (
	DoneStep    Status = "done"
	RunningStep Status = "running"
	MissingStep Status = "missing"
	FailedStep  Status = "failed"
	StaleStep   Status = "out of order" // done, but a step that must precede it came later, or was too long ago
	NotDueStep  Status = "not due"
)

// lacks says whether a step with the status is one that an occasion still asks for.
func (s Status) lacks() bool { return s != DoneStep && s != NotDueStep }

// Answer is what the release check says about one scope at one instant.
type Answer struct {
	Scope string       `json:"scope"`
	At    unit.Instant `json:"at"`
	State State        `json:"state"`
	// Until is when Ready ends by itself.
	Until   unit.Instant `json:"until,omitzero"`
	Reasons []Reason     `json:"reasons"`
	// Next says what to do, the first thing first.
	Next []string `json:"next"`
	// Cycle is the start of the cycle that the answer is about.
	Cycle unit.Instant   `json:"cycle,omitzero"`
	Steps []Progress     `json:"steps"`
	Due   []sampling.Due `json:"due,omitempty"`
	// InUse is the record of the use that goes on, empty where none does.
	InUse string `json:"in_use,omitempty"`
	// StockTake is the record of the stock-take that the answer rests on, empty where it rests on a cycle.
	StockTake string `json:"stock_take,omitempty"`
	// Paper says that paper decides and not the records; nil once the start is signed.
	Paper *Paper `json:"paper,omitempty"`
	// Wanting are the acts that would count if somebody attested them.
	Wanting []Wanting `json:"wanting,omitempty"`
	// Asked are the routes that are open, the earliest first.
	Asked []Asked `json:"asked,omitempty"`
	// Unchecked are the requirements that are not checked here.
	Unchecked []Unchecked `json:"not_checked,omitempty"`
	// Short is how far from ready it is, where somebody asked for it and it is not.
	Short *Short `json:"short,omitempty"`
}

// Paper is what an answer is while paper decides.
type Paper struct {
	// Why says why.
	Why string `json:"why"`
	// Here is what the records alone say, Until when that ends by itself.
	Here  State        `json:"here"`
	Until unit.Instant `json:"until,omitzero"`
}

// Unchecked is a requirement that is not checked here.
type Unchecked struct {
	Step StepKind `json:"step"`
	// KeptIn is where it is on record, KeptBy who has signed that, Review the last day before that is looked at again.
	KeptIn string    `json:"kept_in,omitempty"`
	KeptBy string    `json:"kept_by,omitempty"`
	Review unit.Date `json:"review,omitempty"`
	// Starts is the day from which it is checked here.
	Starts unit.Date `json:"starts,omitempty"`
}

// Words says what is not checked, and why, without who has signed that.
func (u Unchecked) Words() string {
	if u.KeptIn != "" {
		return fmt.Sprintf("%s (kept elsewhere: %s; to be reviewed by %s)", u.Step.Words(), u.KeptIn, u.Review)
	}
	return fmt.Sprintf("%s (starts on %s)", u.Step.Words(), u.Starts)
}

// releases says who releases the scope in place of this check.
func (u Unchecked) releases() string {
	if u.KeptIn != "" {
		return u.KeptIn + " releases"
	}
	return "whoever has checked it releases"
}

// notChecked is how the line begins that names what is not checked.
const notChecked = "not checked here: "

// NotChecked names in one line what is not checked here; empty when everything is.
func (a Answer) NotChecked() string {
	if len(a.Unchecked) == 0 {
		return ""
	}
	return notChecked + strings.Join(wordsOf(a.Unchecked), ", ")
}

func wordsOf[T interface{ Words() string }](all []T) []string {
	words := make([]string, len(all))
	for i, x := range all {
		words[i] = x.Words()
	}
	return words
}

// and returns the stricter of two answers about one scope and instant by two editions of the rules: what is asked for by
// the one in force, then what the other asks for besides.
func (a Answer) and(b Answer) Answer {
	if slices.Index(States, b.State) > slices.Index(States, a.State) {
		a.State = b.State
	}
	switch {
	case a.State != Ready:
		a.Until = 0
	case b.Until.Known() && (!a.Until.Known() || b.Until < a.Until):
		a.Until = b.Until
	}
	for _, r := range b.Reasons {
		if r.Blocks && !slices.ContainsFunc(a.Reasons, func(x Reason) bool { return x.Blocks && x.Text == r.Text && x.Said == r.Said && x.Record == r.Record }) {
			r.Text += "; so the rules asked that were in force in this cycle"
			a.Reasons = append(a.Reasons, r)
		}
	}
	for _, next := range b.Next {
		if !slices.Contains(a.Next, next) {
			a.Next = append(a.Next, next)
		}
	}
	for _, p := range b.Steps {
		i := slices.IndexFunc(a.Steps, func(x Progress) bool { return x.Step == p.Step })
		if i < 0 {
			a.Steps = append(a.Steps, p)
			continue
		}
		a.Steps[i] = a.Steps[i].worse(p)
	}
	for _, w := range b.Wanting {
		if !slices.Contains(a.Wanting, w) {
			a.Wanting = append(a.Wanting, w)
		}
	}
	for _, u := range b.Unchecked {
		if !slices.Contains(a.Unchecked, u) {
			a.Unchecked = append(a.Unchecked, u)
		}
	}
	return a
}

// NotKnown returns the answer with a reason before all others for which nobody knows about the scope; what is worse
// stays.
func (a Answer) NotKnown(r Reason) Answer {
	r.Blocks = true
	a.Reasons = append([]Reason{r}, a.Reasons...)
	a.Next = slices.Clone(a.Next)
	a.Until = 0
	if slices.Index(States, NotKnown) > slices.Index(States, a.State) {
		a.State = NotKnown
	}
	return a
}
