package quality

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"rinsate/internal/base/stats"
)

// Measurement is one reading of a gauge study. Value is on a scale whose spread does not depend on
// its height: for relative light units pass [Log10RLU].
type Measurement struct {
	Part      string  `json:"part"`
	Appraiser string  `json:"appraiser"`
	Value     float64 `json:"value"`
}

// Study is a crossed gauge study, in which every appraiser reads every part equally often.
type Study struct {
	parts, appraisers []string
	trials            int
	values            [][][]float64 // by part, appraiser, trial
}

// NewStudy sorts measurements into a study. It needs at least 2 parts, 2 appraisers and 2 readings
// of each part by each appraiser, the same number everywhere, finite values that are not all equal
// within every cell; else the error wraps [stats.ErrArgument] and names the cell that is missing or
// differs. The order of the measurements does not matter.
func NewStudy(measurements []Measurement) (Study, error) {
	cells := map[[2]string][]float64{}
	var s Study
	for i, m := range measurements {
		if m.Part == "" || m.Appraiser == "" || !finite(m.Value) {
			return Study{}, fmt.Errorf("measurement %d (part %q, appraiser %q, value %v): name part and appraiser and give a finite value: %w",
				i+1, m.Part, m.Appraiser, m.Value, stats.ErrArgument)
		}
		s.parts, s.appraisers = append(s.parts, m.Part), append(s.appraisers, m.Appraiser)
		key := [2]string{m.Part, m.Appraiser}
		cells[key] = append(cells[key], m.Value)
	}
	s.parts, s.appraisers = distinct(s.parts), distinct(s.appraisers)
	if len(s.parts) < 2 || len(s.appraisers) < 2 {
		return Study{}, fmt.Errorf("%d parts and %d appraisers: a study needs at least 2 of each: %w", len(s.parts), len(s.appraisers), stats.ErrArgument)
	}
	for _, cell := range cells {
		s.trials = max(s.trials, len(cell))
	}
	if s.trials < 2 {
		return Study{}, fmt.Errorf("every part was read once by each appraiser: read each at least twice: %w", stats.ErrArgument)
	}
	repeats := false
	for _, part := range s.parts {
		var row [][]float64
		for _, appraiser := range s.appraisers {
			cell := cells[[2]string{part, appraiser}]
			if len(cell) != s.trials {
				return Study{}, fmt.Errorf("part %q has %d readings by appraiser %q where others have %d: complete the cell, or leave out the part or the appraiser: %w",
					part, len(cell), appraiser, s.trials, stats.ErrArgument)
			}
			slices.Sort(cell) // sums do not depend on the order of the readings
			repeats = repeats || cell[0] < cell[len(cell)-1]
			row = append(row, cell)
		}
		s.values = append(s.values, row)
	}
	if !repeats {
		return Study{}, fmt.Errorf("all repeats are equal: the resolution is too coarse for a study, or readings were copied: %w", stats.ErrArgument)
	}
	return s, nil
}

func distinct(names []string) []string {
	slices.SortFunc(names, cmp.Compare[string])
	return slices.Compact(names)
}

// AnovaRow is one line of an analysis of variance. F is against the interaction for parts and
// appraisers where the interaction is in the model, else against the error; P is its upper tail.
// F and P are 0 for the error.
type AnovaRow struct {
	SS, DF, MS, F, P float64
}

// Anova is the analysis of variance of a study. Without the interaction in the model, Interaction
// still shows what it was, and Error holds both pooled.
type Anova struct {
	Parts, Appraisers, Interaction, Error, Total AnovaRow
	// WithInteraction says whether the interaction is in the model.
	WithInteraction bool
}

// PoolAbove is the p value of the interaction above which it is pooled with the error (AIAG,
// Measurement Systems Analysis, 4th ed. 2010: F test at α = 0.25, from memory).
const PoolAbove = 0.25

// Anova returns the two-way analysis of variance with parts and appraisers random. With pool true,
// the interaction is pooled with the error when its p value is above [PoolAbove]; with pool false
// it stays in the model.
func (s Study) Anova(pool bool) Anova {
	p, o, r := float64(len(s.parts)), float64(len(s.appraisers)), float64(s.trials)
	grand, partMeans, appraiserMeans, cellMeans := s.means()
	var a Anova
	for _, m := range partMeans {
		a.Parts.SS += o * r * square(m-grand)
	}
	for _, m := range appraiserMeans {
		a.Appraisers.SS += p * r * square(m-grand)
	}
	for i, row := range s.values {
		for j, cell := range row {
			a.Interaction.SS += r * square(cellMeans[i][j]-partMeans[i]-appraiserMeans[j]+grand)
			for _, v := range cell {
				a.Error.SS += square(v - cellMeans[i][j])
				a.Total.SS += square(v - grand)
			}
		}
	}
	a.Parts.DF, a.Appraisers.DF = p-1, o-1
	a.Interaction.DF, a.Error.DF = (p-1)*(o-1), p*o*(r-1)
	a.Total.DF = p*o*r - 1
	a.Interaction.against(&a.Error)
	a.WithInteraction = !pool || a.Interaction.P <= PoolAbove
	denominator := a.Interaction
	if !a.WithInteraction {
		a.Error.SS += a.Interaction.SS
		a.Error.DF += a.Interaction.DF
		a.Error.MS = a.Error.SS / a.Error.DF
		denominator = a.Error
	}
	a.Parts.against(&denominator)
	a.Appraisers.against(&denominator)
	return a
}

// against fills in mean squares and the F test of a row against another. Where the other is zero F
// is infinite, or 0 if the row is zero too.
func (row *AnovaRow) against(other *AnovaRow) {
	row.MS, other.MS = row.SS/row.DF, other.SS/other.DF
	switch {
	case row.MS == 0:
		row.F, row.P = 0, 1
	case other.MS == 0:
		row.F, row.P = math.Inf(1), 0
	default:
		row.F = row.MS / other.MS
		// The upper tail as the lower tail of 1/F with exchanged degrees of freedom, so that a small
		// p keeps its digits.
		row.P = distuv.F{D1: other.DF, D2: row.DF}.CDF(1 / row.F)
	}
}

func (s Study) means() (grand float64, parts, appraisers []float64, cells [][]float64) {
	parts, appraisers = make([]float64, len(s.parts)), make([]float64, len(s.appraisers))
	for i, row := range s.values {
		cells = append(cells, make([]float64, len(row)))
		for j, cell := range row {
			for _, v := range cell {
				cells[i][j] += v / float64(s.trials)
			}
			parts[i] += cells[i][j] / float64(len(s.appraisers))
			appraisers[j] += cells[i][j] / float64(len(s.parts))
		}
		grand += parts[i] / float64(len(s.parts))
	}
	return grand, parts, appraisers, cells
}

func square(x float64) float64 { return x * x }
