package reprocessing

import (
	"fmt"
	"maps"
	"slices"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// StepRule is one step of the cycle as the rule set asks for it. The order of the rules is the
// order of the steps.
type StepRule struct {
	Step     StepKind `yaml:"step" json:"step"`
	Required bool     `yaml:"required" json:"required"`
	// AtLeast and AtMost are the shortest and the longest time that the step takes; zero when it does not matter.
	AtLeast unit.Span `yaml:"at_least,omitempty" json:"at_least,omitzero"`
	AtMost  unit.Span `yaml:"at_most,omitempty" json:"at_most,omitzero"`
	// Within bounds the time from the end of the step From (from the occasion, such as the end of the use, where that may be
	// left out and was) to the start of this one.
	Within unit.Span `yaml:"within,omitempty" json:"within,omitzero"`
	From   StepKind  `yaml:"from,omitempty" json:"from,omitempty"`
	// AfterFail is what has to come between a failed step and the one that takes its place.
	AfterFail AfterFail `yaml:"after_fail,omitempty" json:"after_fail,omitempty"`
	// OnLate says what to do when Within has passed, OnFail what to do after a failed step.
	OnLate string `yaml:"on_late,omitempty" json:"on_late,omitempty"`
	OnFail string `yaml:"on_fail,omitempty" json:"on_fail,omitempty"`
	// Starts is the day from which the step is required, by occasions of that day or later; empty for always.
	Starts unit.Date `yaml:"starts,omitempty" json:"starts,omitempty"`
	// KeptIn is where the step is on record when that is not here, KeptBy who has signed that it is, and KeptReview the
	// last day before somebody has to look at that again. From then on it is asked for here.
	KeptIn          string    `yaml:"kept_in,omitempty" json:"kept_in,omitempty"`
	KeptBy          string    `yaml:"kept_by,omitempty" json:"kept_by,omitempty"`
	KeptReview      unit.Date `yaml:"kept_review,omitempty" json:"kept_review,omitempty"`
	sampling.Source `yaml:",inline"`
}

// AfterFail is what a failed step asks for before a repeat of it counts.
type AfterFail string

// What a failure may ask for. A leak or a damage does not go by testing or looking again.
const (
	JustRepeat  AfterFail = "" // nothing: to do it again is the answer
	CleanAgain  AfterFail = "cleaning"
	RepairFirst AfterFail = "repair"
)

// Words says what has to come, in a few words.
func (a AfterFail) Words() string {
	switch a {
	case CleanAgain:
		return "a manual cleaning"
	case RepairFirst:
		return "a repair"
	case JustRepeat:
	}
	return ""
}

// AfterFails lists what a rule can say.
var AfterFails = []AfterFail{CleanAgain, RepairFirst}

// Cabinet is a place where reprocessed scopes wait, and how long they may.
type Cabinet struct {
	Name string `yaml:"name" json:"name"`
	// Days are calendar days in the facility's zone, Hours exact hours; one of them is given.
	Days            int `yaml:"days,omitempty" json:"days,omitzero"`
	Hours           int `yaml:"hours,omitempty" json:"hours,omitzero"`
	sampling.Source `yaml:",inline"`
}

// Disinfectant is a way of high-level disinfection or sterilization; the label and the instructions of
// the product in use always win over what the rule set holds.
type Disinfectant struct {
	Name    string    `yaml:"name" json:"name"`
	Contact unit.Span `yaml:"contact" json:"contact"`
	// Coldest is the lowest temperature at which Contact is enough; Warmest is zero when there is
	// no upper limit.
	Coldest unit.Celsius `yaml:"coldest_cel,omitempty" json:"coldest_cel,omitzero"`
	Warmest unit.Celsius `yaml:"warmest_cel,omitempty" json:"warmest_cel,omitzero"`
	// MEC says that the concentration is checked before each use.
	MEC             bool `yaml:"mec" json:"mec"`
	ReuseDays       int  `yaml:"reuse_days,omitempty" json:"reuse_days,omitzero"`
	sampling.Source `yaml:",inline"`
}

// Rules are the part of a rule set that the release check judges by.
type Rules struct {
	Steps []StepRule `yaml:"steps" json:"steps"`
	// Models replaces the steps for single models.
	Models map[string][]StepRule `yaml:"models,omitempty" json:"models,omitempty"`
	// Routes says which of the steps each occasion asks for; one that it does not name asks for all of them.
	Routes        []Route        `yaml:"routes,omitempty" json:"routes,omitempty"`
	Cabinets      []Cabinet      `yaml:"cabinets" json:"cabinets"`
	Disinfectants []Disinfectant `yaml:"disinfectants" json:"disinfectants"`
	// Unstored is how long a dried scope may wait outside a cabinet.
	Unstored       unit.Span       `yaml:"unstored" json:"unstored"`
	UnstoredSource sampling.Source `yaml:"unstored_source" json:"unstored_source"`
	// Due makes verifications due; those that block keep the release check shut.
	Due []sampling.Rule `yaml:"-" json:"-"`
	// Earlier are editions that were in force since the trip of the scope began that is asked about and that ask for
	// more: they count as well until it is over.
	Earlier []Rules `yaml:"-" json:"-"`
}

// For returns the steps of a model in order.
func (r Rules) For(model string) []StepRule {
	if steps, ok := r.Models[model]; ok {
		return steps
	}
	return r.Steps
}

// withSoak returns the steps of a model in order with the soak among them, which any delay may ask for.
func (r Rules) withSoak(model string) []StepRule {
	steps := r.For(model)
	cleaning := slices.IndexFunc(steps, func(s StepRule) bool { return s.Step == ManualCleaning })
	if cleaning < 0 || slices.ContainsFunc(steps, func(s StepRule) bool { return s.Step == Soak }) {
		return steps
	}
	return slices.Insert(slices.Clone(steps), cleaning, StepRule{Step: Soak, Source: steps[cleaning].Source})
}

func (r Rules) disinfectant(name string) (Disinfectant, bool) {
	i := slices.IndexFunc(r.Disinfectants, func(a Disinfectant) bool { return a.Name == name })
	if i < 0 {
		return Disinfectant{}, false
	}
	return r.Disinfectants[i], true
}

func (r Rules) cabinet(name string) (Cabinet, bool) {
	i := slices.IndexFunc(r.Cabinets, func(c Cabinet) bool { return c.Name == name })
	if i < 0 {
		return Cabinet{}, false
	}
	return r.Cabinets[i], true
}

// Check refuses rules that cannot be followed.
func (r Rules) Check() error {
	if err := checkSteps("steps", r.Steps); err != nil {
		return err
	}
	for _, model := range slices.Sorted(maps.Keys(r.Models)) {
		if err := checkSteps("steps of model "+model, r.Models[model]); err != nil {
			return err
		}
	}
	if err := r.checkRoutes(); err != nil {
		return err
	}
	for i, c := range r.Cabinets {
		if slices.ContainsFunc(r.Cabinets[:i], func(other Cabinet) bool { return other.Name == c.Name }) {
			return fmt.Errorf("cabinet %q is given twice", c.Name)
		}
		if c.Name == "" || c.Days < 0 || c.Hours < 0 || (c.Days > 0) == (c.Hours > 0) {
			return fmt.Errorf("cabinet %q: give a name and either days or hours over 0", c.Name)
		}
		if c.Citation == "" {
			return fmt.Errorf("cabinet %q: the citation is missing", c.Name)
		}
	}
	for i, a := range r.Disinfectants {
		switch {
		case slices.ContainsFunc(r.Disinfectants[:i], func(other Disinfectant) bool { return other.Name == a.Name }):
			return fmt.Errorf("disinfectant %q is given twice", a.Name)
		case a.Name == "" || a.Contact <= 0:
			return fmt.Errorf("disinfectant %q: give a name and a contact time over 0", a.Name)
		case a.Warmest != 0 && a.Warmest < a.Coldest:
			return fmt.Errorf("disinfectant %q: the highest temperature is below the lowest", a.Name)
		case a.ReuseDays < 0:
			return fmt.Errorf("disinfectant %q: reuse_days is below zero", a.Name)
		case a.Citation == "":
			return fmt.Errorf("disinfectant %q: the citation is missing", a.Name)
		}
	}
	switch {
	case r.Unstored < 0:
		return fmt.Errorf("unstored: the time is below zero")
	case r.Unstored > 0 && r.UnstoredSource.Citation == "":
		return fmt.Errorf("unstored: the citation is missing (unstored_source)")
	}
	return nil
}

// indispensable lists the steps without which nothing could show that a scope is fit for a patient.
// Whether a verification of samples is due is decided by the due rules, so verification must only be there
// to be looked at.
var indispensable = []StepKind{ManualCleaning, Verification, Disinfection}

func checkSteps(where string, steps []StepRule) error {
	if len(steps) == 0 {
		return fmt.Errorf("%s: there are none", where)
	}
	for _, kind := range indispensable {
		i := slices.IndexFunc(steps, func(s StepRule) bool { return s.Step == kind })
		if i < 0 || !steps[i].Required && kind != Verification {
			return fmt.Errorf("%s: %s must be there and required", where, kind)
		}
	}
	seen := make(map[StepKind]bool)
	for _, s := range steps {
		switch {
		case !slices.Contains(StepKinds, s.Step):
			return fmt.Errorf("%s: %q is not known; allowed: %s", where, s.Step, scope.Words(StepKinds))
		case seen[s.Step]:
			return fmt.Errorf("%s: %s is given twice", where, s.Step.Words())
		case s.AtLeast < 0 || s.AtMost < 0 || s.Within < 0:
			return fmt.Errorf("%s: %s: a time is below zero", where, s.Step.Words())
		case s.AtMost > 0 && s.AtMost < s.AtLeast:
			return fmt.Errorf("%s: %s: at_most is shorter than at_least", where, s.Step.Words())
		case s.AtMost > 0 && (s.Step == Verification || s.Step == Storage || s.Step == Issue):
			return fmt.Errorf("%s: %s has no end of its own: at_most says nothing", where, s.Step.Words())
		case s.From != "" && !seen[s.From]:
			return fmt.Errorf("%s: %s: the step %q that its clock starts from must come before it", where, s.Step.Words(), s.From)
		case s.AfterFail != JustRepeat && !slices.Contains(AfterFails, s.AfterFail):
			return fmt.Errorf("%s: %s: after_fail %q is not known; allowed: %s, or nothing where a repeat is enough", where, s.Step.Words(), s.AfterFail,
				scope.Words(AfterFails))
		case s.Within > 0 && s.OnLate == "":
			return fmt.Errorf("%s: %s: say in on_late what to do when the limit has passed", where, s.Step.Words())
		case s.Citation == "":
			return fmt.Errorf("%s: %s: the citation is missing", where, s.Step.Words())
		case (s.KeptIn == "") != (s.KeptBy == "") || (s.KeptIn == "") != !s.KeptReview.Known():
			return fmt.Errorf("%s: %s: what is kept elsewhere says where (kept_in), who has signed that (kept_by) and by when it is reviewed (kept_review)",
				where, s.Step.Words())
		case s.Starts.Known() && s.KeptIn != "":
			return fmt.Errorf("%s: %s: either it starts on a day or it is kept elsewhere", where, s.Step.Words())
		case s.Starts.Known() && !s.Required && s.Step != Verification:
			return fmt.Errorf("%s: %s is not required, so that it cannot start", where, s.Step.Words())
		}
		seen[s.Step] = true
	}
	return nil
}

// kept says whether a step is kept elsewhere at an instant: until the day is over by which that is reviewed.
func (r StepRule) kept(at unit.Instant, zone *time.Location) bool {
	return r.KeptIn != "" && at < r.KeptReview.End(zone)
}
