package level

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
)

// Method is one way to a candidate.
type Method string

// The methods, which are always shown side by side.
const (
	// LogNormal takes ln RLU as normally distributed.
	LogNormal Method = "log-normal"
	// Free takes order statistics and holds whatever the distribution, if readings are independent.
	Free Method = "distribution-free"
	// FreeEffective is Free with the number of independent readings that the readings are worth.
	FreeEffective Method = "distribution-free, effective readings"
	// ScopeBootstrap draws whole scopes anew.
	ScopeBootstrap Method = "bootstrap of scopes"
)

// Methods lists every method in the order of Percentile.Candidates.
var Methods = []Method{LogNormal, Free, FreeEffective, ScopeBootstrap}

// Candidate is what one method says of one percentile.
type Candidate struct {
	Method Method `json:"method"`
	// Estimate is the percentile in RLU; Interval holds it with the plan's confidence, each end
	// missing it with half the risk, and is absent where the readings are too few for it.
	Estimate unit.Number `json:"estimate,omitzero"`
	Interval *Range      `json:"interval,omitempty"`
	// Upper is the one-sided upper confidence bound, Achieved its confidence: that of the plan, or
	// more for order statistics, of which Rank is the one that is taken.
	Upper    unit.Number `json:"upper,omitzero"`
	Achieved unit.Number `json:"achieved_confidence,omitzero"`
	Rank     int         `json:"rank,omitempty"`
	// Level is the whole count to adopt.
	Level unit.Number `json:"level,omitzero"`
	// Refused says why there is no candidate; Need is how many readings (scopes, for the bootstrap)
	// would be enough and More how many are missing.
	Refused string `json:"refused,omitempty"`
	Need    int    `json:"need,omitempty"`
	More    int    `json:"more,omitempty"`
}

// Percentile holds the candidates for one level.
type Percentile struct {
	Of         stats.Probability `json:"percentile"`
	Candidates []Candidate       `json:"candidates"`
}

// By returns the candidate of a method; the zero Candidate for an unknown one.
func (p Percentile) By(m Method) Candidate {
	for _, c := range p.Candidates {
		if c.Method == m {
			return c
		}
	}
	return Candidate{}
}

// Derivation is how candidates for a level were found: everything that a person who adopts one, or
// questions it later, has to know.
type Derivation struct {
	Plan       Plan        `json:"plan"`
	Baseline   Summary     `json:"baseline"`
	Excluded   []Exclusion `json:"excluded"`
	Shape      Shape       `json:"log_normal"`
	Fit        *Fit        `json:"fit,omitempty"`
	Clustering Clustering  `json:"clustering"`
	Alert      Percentile  `json:"alert"`
	Action     Percentile  `json:"action"`
	Warnings   []string    `json:"warnings"`
}

// Derive proposes alert and action levels from a baseline: the first readings of ordinary cleanings
// that nobody doubts. It depends on which samples are given and not on their order. Samples that are
// not of the plan's target, or cannot be right, are an error; too few samples are not: the candidates
// then say what is missing.
func Derive(samples []Sample, plan Plan) (Derivation, error) {
	if err := plan.Check(); err != nil {
		return Derivation{}, err
	}
	if err := plan.Target.belong(samples); err != nil {
		return Derivation{}, err
	}
	counted, excluded := exclude(inOrder(samples))
	counted, excluded, err := screen(counted, excluded, plan)
	if err != nil {
		return Derivation{}, err
	}
	d := Derivation{
		Plan:     plan,
		Baseline: summarize(samples, counted, plan.Detection),
		Excluded: excluded,
	}
	of, scopes := clusters(counted)
	d.Clustering = clustering(logs(counted, plan.Detection), of, scopes)
	b := baseline{plan: plan, values: make([]float64, len(counted)), of: of, clustering: d.Clustering}
	counts := make([]int, len(counted))
	for i, s := range counted {
		counts[i], b.values[i] = s.Value, float64(s.Value)
	}
	d.Shape = shape(counts, plan.Detection, plan.Significance.Float(), rand.New(rand.NewChaCha8(seed(plan.Seed, "shape"))))
	b.fit, b.fitErr = fitCounts(counts, plan.Detection)
	if b.fitErr == nil {
		d.Fit = &b.fit
	}
	b.resample()
	if d.Alert, err = b.percentile(0, plan.Alert, plan.alertAt); err != nil {
		return Derivation{}, err
	}
	if d.Action, err = b.percentile(1, plan.Action, plan.actionAt); err != nil {
		return Derivation{}, err
	}
	d.Warnings = d.warnings()
	return d, nil
}

// outlier begins the reason why an outlier is left out.
const outlier = "outlier"

// fewestScreened is how many readings the screen for outliers asks for: with fewer the test names
// outliers too often (Rosner 1983).
const fewestScreened = 15

// screen moves outliers of the counted samples to the excluded ones, if the plan asks for it and the
// readings allow it: by the generalised extreme Studentized deviate test on ln RLU.
func screen(counted []Sample, excluded []Exclusion, plan Plan) ([]Sample, []Exclusion, error) {
	if plan.Outliers == 0 || len(counted) < fewestScreened {
		return counted, excluded, nil
	}
	c, err := stats.ParseConfidence(plan.Significance.Complement().String())
	if err != nil {
		return nil, nil, err
	}
	steps, n, err := stats.GeneralizedESD(logs(counted, plan.Detection), min(plan.Outliers, len(counted)-2), c)
	if errors.Is(err, stats.ErrNotEstimable) { // all alike
		return counted, excluded, nil
	}
	if err != nil {
		return nil, nil, err
	}
	out := make(map[int]bool)
	for _, s := range steps[:n] {
		out[s.Index] = true
		excluded = append(excluded, Exclusion{counted[s.Index].ID, fmt.Sprintf(
			"%s: %d RLU, by the generalised extreme Studentized deviate test on ln RLU", outlier, counted[s.Index].Value)})
	}
	var kept []Sample
	for i, s := range counted {
		if !out[i] {
			kept = append(kept, s)
		}
	}
	return kept, excluded, nil
}

// alertAt returns the lowest alert level that a count up to x does not reach.
func (p Plan) alertAt(x float64) unit.Number { return unit.Number(math.Round(x) + 1) }

// actionAt returns the lowest action level that a count up to x is not over.
func (p Plan) actionAt(x float64) unit.Number {
	if p.Comparison == reading.AtOrOver {
		return unit.Number(math.Round(x) + 1)
	}
	return unit.Number(max(math.Round(x), 1)) // an action level is over 0
}

// baseline is what the methods work on.
type baseline struct {
	plan       Plan
	values     []float64 // in rising order
	of         []int     // the scope of each value
	clustering Clustering
	fit        Fit
	fitErr     error
	drawn      [][]float64 // resampled percentiles, alert and action
}

// fewestScopes is how many scopes the bootstrap of scopes asks for; with fewer it is too narrow.
// The number is common practice.
const fewestScopes = 10

func (b *baseline) resample() {
	if b.clustering.Scopes < fewestScopes {
		return
	}
	rng := rand.New(rand.NewChaCha8(seed(b.plan.Seed, "scopes")))
	b.drawn = resampled(b.values, b.of, b.clustering.Scopes,
		[]float64{b.plan.Alert.Float(), b.plan.Action.Float()}, b.plan.Resamples, rng)
}

// percentile asks every method; which is 0 for the alert and 1 for the action percentile.
func (b *baseline) percentile(which int, p stats.Probability, at func(float64) unit.Number) (Percentile, error) {
	result := Percentile{Of: p}
	for _, m := range Methods {
		var c Candidate
		var err error
		switch m {
		case LogNormal:
			c, err = b.logNormal(p)
		case Free:
			c, err = b.free(p, len(b.values), "readings")
		case FreeEffective:
			c, err = b.free(p, b.clustering.Effective, "effective readings")
		case ScopeBootstrap:
			c, err = b.bootstrap(which, p)
		}
		c.Method = m
		switch {
		case errors.Is(err, stats.ErrNotEstimable):
			c = Candidate{Method: m, Refused: err.Error()}
		case err != nil:
			return Percentile{}, fmt.Errorf("%s: %w", m, err)
		case c.Refused != "":
		case b.plan.Take == Estimate:
			c.Level = at(float64(c.Estimate))
		default:
			c.Level = at(float64(c.Upper))
		}
		result.Candidates = append(result.Candidates, c)
	}
	return result, nil
}

// lacking is the candidate of a method that wants more of something.
func lacking(what string, have, need int) Candidate {
	more := need - have
	return Candidate{Need: need, More: more, Refused: fmt.Sprintf("%d %s are there and %d are needed: %d more", have, what, need, more)}
}

// free takes order statistics as if there were effective independent readings, which what names;
// their ranks are stretched to the readings that there are, upwards for an upper and downwards for a
// lower end.
func (b *baseline) free(p stats.Probability, effective int, what string) (Candidate, error) {
	n := len(b.values)
	upper, err := stats.UpperQuantileRank(effective, p, b.plan.Confidence)
	if few := new(stats.TooFewError); errors.As(err, &few) {
		return lacking(what, few.Have, few.Need), nil
	}
	if err != nil {
		return Candidate{}, err
	}
	up := func(rank int) int { return (rank*n + effective - 1) / effective }
	estimate, err := stats.QuantileSorted(b.values, p, stats.MedianUnbiased)
	if err != nil {
		return Candidate{}, err
	}
	c := Candidate{
		Estimate: unit.Number(estimate),
		Rank:     up(upper.Rank),
		Achieved: unit.Number(upper.Achieved),
	}
	c.Upper = unit.Number(b.values[c.Rank-1])
	both, err := stats.QuantileRanks(effective, p, b.plan.Confidence)
	switch {
	case err == nil:
		lo := max(1, both.Lo*n/effective)
		c.Interval = &Range{unit.Number(b.values[lo-1]), unit.Number(b.values[up(both.Hi)-1])}
	case !errors.Is(err, stats.ErrTooFew):
		return Candidate{}, err
	}
	return c, nil
}

// bootstrap takes percentiles of the resampled percentiles. No resample holds anything above the
// highest reading, so that it asks for as many readings as Free does.
func (b *baseline) bootstrap(which int, p stats.Probability) (Candidate, error) {
	if b.drawn == nil {
		return lacking("scopes", b.clustering.Scopes, fewestScopes), nil
	}
	need, more, err := Needed(ScopeBootstrap, p, b.plan.Confidence, len(b.values))
	if err != nil {
		return Candidate{}, err
	}
	if more > 0 {
		return lacking("readings", len(b.values), need), nil
	}
	drawn := b.drawn[which]
	at := func(level float64) unit.Number {
		i := int(math.Ceil(float64(len(drawn)+1)*level-1e-9)) - 1
		return unit.Number(drawn[min(max(i, 0), len(drawn)-1)])
	}
	conf := b.plan.Confidence.Float()
	estimate, err := stats.QuantileSorted(b.values, p, stats.InverseCDF)
	return Candidate{
		Estimate: unit.Number(estimate),
		Interval: &Range{at((1 - conf) / 2), at(1 - (1-conf)/2)},
		Upper:    at(conf),
		Achieved: unit.Number(conf),
	}, err
}

// Proposed returns the level of one method, to be completed with source, edition, who adopts it and
// when. The alert level is never over the action level. It is an error if the method has no
// candidate for both.
func (d Derivation) Proposed(m Method) (reading.Level, error) {
	alert, action := d.Alert.By(m), d.Action.By(m)
	for _, c := range []Candidate{alert, action} {
		if c.Refused != "" || c.Level <= 0 {
			return reading.Level{}, fmt.Errorf("%s has no candidate: %s", m, c.Refused)
		}
	}
	t := d.Plan.Target
	return reading.Level{
		System: t.System, Kit: t.Kit, Point: t.Point, Kind: t.Kind, Analyte: reading.ATP, Unit: reading.RLU,
		Alert: min(alert.Level, action.Level), Action: action.Level, Comparison: d.Plan.Comparison,
	}, nil
}

// laxer is by how much an upper bound may exceed the estimate before a warning is given: half as
// much again, this program's choice.
const laxer = 1.5

// fewReadings is below how many readings a warning is given; common practice.
const fewReadings = 30

func (d Derivation) warnings() []string {
	w := []string{}
	warn := func(format string, args ...any) { w = append(w, fmt.Sprintf(format, args...)) }
	n, c := d.Baseline.Counted, d.Clustering
	if n < fewReadings {
		warn("only %d readings count; with fewer than %d every figure is a guess", n, fewReadings)
	}
	if d.Shape.Known && !d.Shape.Fits {
		warn("the readings do not look log-normal (plot correlation %.4f, p = %.3f): do not rely on the log-normal candidates; take the distribution-free ones",
			float64(d.Shape.Correlation), float64(d.Shape.P))
	}
	if 2*d.Baseline.Censored > n {
		warn("%d of %d readings are at or below the detection limit: the lower half of the distribution was not seen", d.Baseline.Censored, n)
	}
	switch {
	case c.Scopes == 1 && n > 1:
		warn("all readings are of one scope: they say nothing about other scopes")
	case c.Estimable && c.Effective < n:
		warn("readings of the same scope resemble each other (intraclass correlation %.2f): %d readings of %d scopes are worth about %d "+
			"independent ones; the log-normal and the plain distribution-free bounds are too low or too sure",
			float64(c.Correlation), n, c.Scopes, c.Effective)
	case c.Estimable && c.Scopes < fewestScopes:
		warn("readings are of only %d scopes: how much scopes differ is hardly known", c.Scopes)
	}
	if slices.ContainsFunc(d.Excluded, func(e Exclusion) bool { return strings.HasPrefix(e.Why, outlier) }) {
		warn("outliers were left out: the levels are lower than with them; look for the cause of each before you rely on that")
	}
	names := []string{"alert", "action"}
	for i, p := range []Percentile{d.Alert, d.Action} {
		for _, m := range []Method{LogNormal, Free} {
			x := p.By(m)
			if d.Plan.Take == UpperBound && x.Refused == "" && float64(x.Upper) > laxer*float64(x.Estimate) {
				warn("the upper bound for the %s level (%s) is %.1f times the percentile, because readings are few or vary widely: the level is lax; "+
					"collect more readings, or take the estimate",
					names[i], m, float64(x.Upper)/float64(x.Estimate))
			}
		}
	}
	return w
}

// Needed returns how many readings a method needs for an upper bound of a percentile with a
// confidence, and how many more than have that is. Free: the smallest n with pⁿ ≤ 1−c, 59 for the
// 95th percentile with 95 % confidence and 299 for the 99th; FreeEffective: as many effective
// readings; ScopeBootstrap: as many readings, and ten scopes; LogNormal: ten readings above the
// detection limit, whatever the percentile. Errors: stats.ErrArgument for an unknown method, a
// negative number and outside the conditions of stats.AssuranceSize.
func Needed(m Method, p stats.Probability, c stats.Confidence, have int) (need, more int, err error) {
	if have < 0 {
		return 0, 0, fmt.Errorf("%d readings: %w", have, stats.ErrArgument)
	}
	need, err = stats.AssuranceSize(p, 0, c)
	if err != nil {
		return 0, 0, err
	}
	switch m {
	case LogNormal:
		need = fewestDetected
	case Free, FreeEffective, ScopeBootstrap:
	default:
		return 0, 0, fmt.Errorf("method %q is not known; allowed: %s: %w", m, scope.Words(Methods), stats.ErrArgument)
	}
	return need, max(0, need-have), nil
}
