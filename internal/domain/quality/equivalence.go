package quality

import (
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/integrate/quad"

	"rinsate/internal/base/stats"
)

// equivalencePower returns the probability that two one-sided t tests at alpha show a difference to
// lie within ±margin when it truly is theta and its true standard error is se.
//
// With u = s/σ, which has the distribution of √(χ²/df), the power is the mean over u of
// Φ((M−θ)/se − t·u) − Φ(−(M+θ)/se + t·u), where that is positive: u below M/(t·se). The integral
// over the part of that range which holds the mass of u is taken by Gauss–Legendre quadrature.
//
// Source: K. F. Phillips, J Pharmacokinet Biopharm 1990;18:137-144.
func equivalencePower(theta, se, df, margin, alpha float64) float64 {
	t := -stats.TQuantile(alpha, df)
	logNorm, _ := math.Lgamma(df / 2)
	density := func(u float64) float64 { // of √(χ²/df)
		return 2 * math.Exp(df/2*math.Log(df/2)-logNorm+(df-1)*math.Log(u)-df/2*u*u)
	}
	shown := func(u float64) float64 {
		lo, hi := -(margin+theta)/se+t*u, (margin-theta)/se-t*u
		if lo > 0 { // the same difference, in the tail that keeps its digits
			return stats.NormalSurvival(lo) - stats.NormalSurvival(hi)
		}
		return stats.NormalCDF(hi) - stats.NormalCDF(lo)
	}
	// u has a standard deviation of about 1/√(2·df); ten of them leave nothing out that matters.
	spread := 10 / math.Sqrt(2*df)
	lo, hi := max(0, 1-spread), min(1+spread, margin/(t*se))
	if hi <= lo {
		return 0
	}
	const nodes = 128
	power := quad.Fixed(func(u float64) float64 { return shown(u) * density(u) }, lo, hi, nodes, quad.Legendre{}, 0)
	return min(max(power, 0), 1)
}

// smallest returns the smallest n from least to most for which power(n) reaches the wanted power,
// and 0 and false when none does. Power rises with n.
func smallest(least, most int, wanted float64, power func(n int) float64) (int, bool) {
	n := least + sort.Search(most-least+1, func(i int) bool { return power(least+i) >= wanted })
	if n > most {
		return 0, false
	}
	return n, true
}

// checkTruth says what is wrong with what a sample size is planned for.
func checkTruth(sd, ratio float64) error {
	if !(sd > 0) || math.IsInf(sd, 1) || !(ratio > 0) || math.IsInf(ratio, 1) {
		return fmt.Errorf("standard deviation %v and ratio %v: want both finite and over 0: %w", sd, ratio, stats.ErrArgument)
	}
	return nil
}
