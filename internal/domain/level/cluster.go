package level

import (
	"math"
	"math/rand/v2"
	"slices"

	"rinsate/internal/base/unit"
)

// Clustering says how much readings of the same scope resemble each other.
type Clustering struct {
	Scopes int `json:"scopes"`
	// Correlation is the intraclass correlation of ln RLU by one-way analysis of variance, cut off
	// at 0 and 1; zero when it cannot be estimated.
	Correlation unit.Number `json:"intraclass_correlation"`
	// Estimable is false with fewer than two scopes or no scope with two readings.
	Estimable bool `json:"estimable"`
	// DesignEffect is 1+(m−1)ρ, with m = Σnᵢ²/Σnᵢ readings a scope; Effective is the number of
	// independent readings that say as much.
	DesignEffect unit.Number `json:"design_effect"`
	Effective    int         `json:"effective_readings"`
}

// clusters returns for each sample the number of its scope, and how many scopes there are.
func clusters(samples []Sample) (of []int, scopes int) {
	number := make(map[string]int)
	of = make([]int, len(samples))
	for i, s := range samples {
		k, known := number[s.Scope]
		if !known {
			k = len(number)
			number[s.Scope] = k
		}
		of[i] = k
	}
	return of, len(number)
}

// clustering estimates the intraclass correlation ρ = (MSB−MSW)/(MSB+(n₀−1)·MSW), with MSB and MSW
// the mean squares between and within scopes and n₀ = (N−Σnᵢ²/N)/(k−1).
//
// Source: A. Donner, Int Stat Rev 1986;54:67-82; the design effect is that of L. Kish, Survey
// Sampling, 1965, section 5.4.
func clustering(x []float64, of []int, scopes int) Clustering {
	n := len(x)
	c := Clustering{Scopes: scopes, DesignEffect: 1, Effective: n}
	sums, sizes := make([]float64, scopes), make([]float64, scopes)
	total := 0.0
	for i, k := range of {
		sums[k] += x[i]
		sizes[k]++
		total += x[i]
	}
	squares := 0.0
	for _, m := range sizes {
		squares += m * m
	}
	if scopes < 2 || scopes == n {
		return c
	}
	between, within := 0.0, 0.0
	grand := total / float64(n)
	for k, m := range sizes {
		d := sums[k]/m - grand
		between += m * d * d
	}
	for i, k := range of {
		d := x[i] - sums[k]/sizes[k]
		within += d * d
	}
	between /= float64(scopes - 1)
	within /= float64(n - scopes)
	typical := (float64(n) - squares/float64(n)) / float64(scopes-1)
	rho := 0.0
	if spread := between + (typical-1)*within; spread > 0 {
		rho = min(max((between-within)/spread, 0), 1)
	}
	effect := 1 + (squares/float64(n)-1)*rho
	c.Estimable = true
	c.Correlation, c.DesignEffect = unit.Number(rho), unit.Number(effect)
	c.Effective = int(math.Floor(float64(n) / effect))
	return c
}

// resampled draws whole scopes, as many as there are, with replacement, and returns the resamples'
// order statistics ⌈n·p⌉ in rising order: one slice for each p. values are in rising order.
//
// Source: A. C. Davison & D. V. Hinkley, Bootstrap Methods and Their Application, 1997, section 3.8.
func resampled(values []float64, of []int, scopes int, percentiles []float64, resamples int, rng *rand.Rand) [][]float64 {
	drawn := make([][]float64, len(percentiles))
	times, sizes := make([]int, scopes), make([]int, scopes)
	for _, k := range of {
		sizes[k]++
	}
	for range resamples {
		clear(times)
		total := 0
		for range scopes {
			k := rng.IntN(scopes)
			times[k]++
			total += sizes[k]
		}
		for q, p := range percentiles {
			// From above, since the percentiles looked for are high.
			rest := total - int(math.Ceil(float64(total)*p-1e-9))
			for i := len(values) - 1; ; i-- {
				if rest -= times[of[i]]; rest < 0 {
					drawn[q] = append(drawn[q], values[i])
					break
				}
			}
		}
	}
	for _, d := range drawn {
		slices.Sort(d)
	}
	return drawn
}
