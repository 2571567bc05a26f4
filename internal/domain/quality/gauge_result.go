package quality

import (
	"fmt"
	"math"
	"strings"

	"rinsate/internal/base/stats"
)

// Component is one source of spread in a gauge study.
type Component struct {
	// Variance is the estimate of the variance, SD its root.
	Variance, SD float64
	// CI is the interval of the variance, 0 to 0 where the method gives none.
	CI stats.Interval
	// Contribution is Variance and StudyVariation SD as a fraction of the total's.
	Contribution, StudyVariation float64
	// Negative says that the estimate was below zero and was set to zero.
	Negative bool
}

// Gauge is what a gauge study comes to.
type Gauge struct {
	// Repeatability is the equipment variation EV, Appraisers the appraiser variation AV,
	// Interaction that of parts with appraisers, GRR their sum (repeatability and reproducibility),
	// Parts the part variation PV and Total the sum of all, TV.
	Repeatability, Appraisers, Interaction, GRR, Parts, Total Component
	// Distinct is the number of distinct categories that the measurement can tell apart: √2·PV/GRR
	// cut to a whole number, at least 1. Categories is the same before it is cut.
	Distinct   int
	Categories float64
	// Anova is nil for the range method.
	Anova *Anova
	Why   string
}

// Gauge estimates the components of variance by analysis of variance, each component that comes
// out negative set to zero and said so. Source: AIAG, Measurement Systems Analysis, 4th ed. 2010;
// pool as for [Study.Anova]. The number of distinct categories is there 1.41·PV/GRR; √2 is used
// here, and the two differ by 0.3 %.
//
// Intervals: exact (χ²) for repeatability; modified large-sample intervals for the others, of
// F. A. Graybill & C.-M. Wang, J Am Stat Assoc 1980;75:869-873, for sums of mean squares (GRR and
// Total) and of N. Ting, R. K. Burdick, F. A. Graybill, S. Jeyaratnam & T.-F. C. Lu, J Stat Comput
// Simul 1990;35:135-143, for differences (Parts, Appraisers, Interaction), cut at zero; as set out
// in R. K. Burdick, C. M. Borror & D. C. Montgomery, Design and Analysis of Gauge R&R Studies,
// 2005. A component set to zero keeps its interval, and GRR and Total have that of the sums before
// anything was set to zero. With few appraisers the intervals are wide, because they should be.
func (s Study) Gauge(pool bool, c stats.Confidence) (Gauge, error) {
	if !c.Known() {
		return Gauge{}, fmt.Errorf("no confidence given: %w", stats.ErrArgument)
	}
	if s.trials == 0 {
		return Gauge{}, fmt.Errorf("the study is empty: make it with NewStudy: %w", stats.ErrArgument)
	}
	a := s.Anova(pool)
	p, o, r := float64(len(s.parts)), float64(len(s.appraisers)), float64(s.trials)
	tail := tailOf(c)
	g := Gauge{Anova: &a}
	// Expected mean squares: error σ²; interaction σ² + r·σ²i; appraisers σ² + r·σ²i + pr·σ²a;
	// parts σ² + r·σ²i + or·σ²p. Without the interaction it is part of the error.
	g.Repeatability = component(a.Error.MS, sumInterval(tail, term{1, a.Error}))
	if a.WithInteraction {
		g.Interaction = component((a.Interaction.MS-a.Error.MS)/r, differenceInterval(tail, term{1 / r, a.Interaction}, term{1 / r, a.Error}))
		g.Appraisers = component((a.Appraisers.MS-a.Interaction.MS)/(p*r),
			differenceInterval(tail, term{1 / (p * r), a.Appraisers}, term{1 / (p * r), a.Interaction}))
		g.Parts = component((a.Parts.MS-a.Interaction.MS)/(o*r), differenceInterval(tail, term{1 / (o * r), a.Parts}, term{1 / (o * r), a.Interaction}))
		g.GRR.CI = sumInterval(tail, term{1 / (p * r), a.Appraisers}, term{(1 - 1/p) / r, a.Interaction}, term{1 - 1/r, a.Error})
		g.Total.CI = sumInterval(tail, term{1 / (o * r), a.Parts}, term{1 / (p * r), a.Appraisers}, term{(1 - 1/p - 1/o) / r, a.Interaction}, term{1 - 1/r, a.Error})
	} else {
		g.Appraisers = component((a.Appraisers.MS-a.Error.MS)/(p*r), differenceInterval(tail, term{1 / (p * r), a.Appraisers}, term{1 / (p * r), a.Error}))
		g.Parts = component((a.Parts.MS-a.Error.MS)/(o*r), differenceInterval(tail, term{1 / (o * r), a.Parts}, term{1 / (o * r), a.Error}))
		g.GRR.CI = sumInterval(tail, term{1 / (p * r), a.Appraisers}, term{1 - 1/(p*r), a.Error})
		g.Total.CI = sumInterval(tail, term{1 / (o * r), a.Parts}, term{1 / (p * r), a.Appraisers}, term{1 - 1/(p*r) - 1/(o*r), a.Error})
	}
	g.complete()
	return g, nil
}

func component(variance float64, ci stats.Interval) Component {
	return Component{Variance: max(variance, 0), CI: ci, Negative: variance < 0}
}

// NamedComponent is a component with its name for a person.
type NamedComponent struct {
	Name string
	Component
}

// GaugeName is the name of the measurement as a whole: repeatability, appraisers and their interaction.
const GaugeName = "repeatability and reproducibility"

// Components lists the components in the order in which they are added up.
func (g Gauge) Components() []NamedComponent {
	return []NamedComponent{
		{"repeatability", g.Repeatability},
		{"appraisers", g.Appraisers},
		{"interaction", g.Interaction},
		{GaugeName, g.GRR},
		{"parts", g.Parts},
		{"total", g.Total},
	}
}

// complete fills in the sums, the fractions and the words.
func (g *Gauge) complete() {
	g.GRR.Variance = g.Repeatability.Variance + g.Appraisers.Variance + g.Interaction.Variance
	g.Total.Variance = g.GRR.Variance + g.Parts.Variance
	total := g.Total.Variance
	for _, c := range []*Component{&g.Repeatability, &g.Appraisers, &g.Interaction, &g.GRR, &g.Parts, &g.Total} {
		c.SD = math.Sqrt(c.Variance)
		c.Contribution = c.Variance / total
		c.StudyVariation = math.Sqrt(c.Contribution)
	}
	g.Categories = math.Sqrt2 * g.Parts.SD / g.GRR.SD
	g.Distinct = int(max(1, math.Floor(g.Categories)))
	g.Why = g.words()
}

// words says what the study comes to. The bounds of 10 % and 30 % of the study variation and of 5
// categories are those of AIAG, Measurement Systems Analysis, 4th ed. 2010.
func (g *Gauge) words() string {
	percent := 100 * g.GRR.StudyVariation
	judged := "may do, depending on what hangs on it"
	switch {
	case percent < 10:
		judged = "is good"
	case percent > 30:
		judged = "is not good enough"
	}
	said := []string{fmt.Sprintf("the measurement takes %.3g %% of the study variation and tells %d categories apart (5 are wanted): it %s",
		percent, g.Distinct, judged)}
	for _, c := range []struct {
		name string
		Component
	}{{"appraisers", g.Appraisers}, {"parts with appraisers", g.Interaction}, {"parts", g.Parts}} {
		if c.Negative {
			said = append(said, fmt.Sprintf("the variance of %s came out below zero and was set to zero", c.name))
		}
	}
	if g.Anova != nil && !g.Anova.WithInteraction {
		said = append(said, fmt.Sprintf("the interaction (p = %.2g) was pooled with the error", g.Anova.Interaction.P))
	}
	return strings.Join(said, "; ")
}
