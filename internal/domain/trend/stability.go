package trend

import (
	"fmt"
	"math"

	"rinsate/internal/base/stats"
)

// Note is one finding about a baseline, in a word and in a sentence.
type Note struct {
	Check Check  `json:"check"`
	Words string `json:"words"`
}

// Check names what a note is about.
type Check string

// The checks. Each but the last is a test at level 0.01 at most, so that about one stable baseline in
// 50 gets a note.
const (
	Autocorrelated Check = "autocorrelation" // neighbours resemble each other, or alternate
	OneSided       Check = "run"             // too long a run on one side of the mean
	Jump           Check = "moving-range"    // too large a step between neighbours
	Skewed         Check = "skewness"        // not symmetric on the log scale
	Zeros          Check = "zeros"           // more than one reading in ten is 0
)

// noteLevel is the level of each check.
const noteLevel = 0.01

// stability looks at the kept readings, standardised, in order.
func stability(kept []Point, z []float64) []Note {
	var notes []Note
	add := func(check Check, format string, args ...any) {
		notes = append(notes, Note{Check: check, Words: fmt.Sprintf(format, args...)})
	}
	critical := -stats.NormalQuantile(noteLevel / 2)
	n := float64(len(z))

	// For independent normal values the lag-1 autocorrelation has mean −1/n and variance
	// (n−2)²/(n²(n−1)) exactly (P. A. P. Moran, Biometrika 1948;35:255-260).
	r := autocorrelation(z)
	if u := (r + 1/n) * n * math.Sqrt(n-1) / (n - 2); math.Abs(u) > critical {
		add(Autocorrelated, "Neighbouring readings are not independent (lag-1 autocorrelation %.2f): the readings drifted or came in clusters.", r)
	}
	if run, on := longestRun(z); longRunChance(run, on) < noteLevel {
		add(OneSided, "%d readings in a row lie on one side of the mean: the level moved within the baseline.", run)
	}
	// The largest of n−1 steps, by Bonferroni's bound; each is √2·t.
	step, at := largestStep(z)
	if limit := -math.Sqrt2 * stats.TQuantile(noteLevel/2/(n-1), n-1); step > limit {
		add(Jump, "The step to reading %s at %s is %.1f standard deviations (limit %.1f): single readings jumped.", kept[at].ID, kept[at].At, step, limit)
	}
	// Variance of the skewness of normal samples: H. Cramér, Mathematical Methods of Statistics,
	// 1946, 29.3; taken as normal, which is rough at n = 20.
	g := skewness(z)
	if g*g*(n+1)*(n+3)/(6*(n-2)) > critical*critical {
		add(Skewed, "The readings are not symmetric on the log scale (skewness %.1f): the stated rate of false signals may not hold.", g)
	}
	zeros := 0
	for _, p := range kept {
		if p.Value == 0 {
			zeros++
		}
	}
	if zeros*10 > len(kept) {
		add(Zeros, "%d of %d readings are 0 RLU: the scale ends there and the stated rate of false signals may not hold.", zeros, len(kept))
	}
	return notes
}

// autocorrelation returns Σz_i·z_i+1 / Σz_i² of values with mean 0.
func autocorrelation(z []float64) float64 {
	products, squares := 0.0, z[0]*z[0]
	for i := 1; i < len(z); i++ {
		products += z[i-1] * z[i]
		squares += z[i] * z[i]
	}
	return products / squares
}

// longestRun returns the longest run of values on one side of 0 and how many values are not 0;
// values of exactly 0 are passed over.
func longestRun(z []float64) (longest, on int) {
	run, side := 0, 0
	for _, v := range z {
		s := beyond(v, 0)
		if s == 0 {
			continue
		}
		if s != side {
			run, side = 0, s
		}
		run++
		on++
		longest = max(longest, run)
	}
	return longest, on
}

// longRunChance returns the probability that n tosses of a fair coin have a run of length run or
// more of either side: that n−1 tosses have run−1 or more times “same as before” in a row.
func longRunChance(run, n int) float64 {
	same := run - 1
	if same <= 0 {
		return 1
	}
	none := make([]float64, max(n, 1)) // none[m]: no such row in m tosses
	for m := range none {
		if m < same {
			none[m] = 1
			continue
		}
		for first, half := 1, 0.5; first <= same; first, half = first+1, half/2 {
			none[m] += half * none[m-first]
		}
	}
	return 1 - none[len(none)-1]
}

// largestStep returns the largest distance of neighbours and the index of the later one.
func largestStep(z []float64) (step float64, at int) {
	for i := 1; i < len(z); i++ {
		if d := math.Abs(z[i] - z[i-1]); d > step {
			step, at = d, i
		}
	}
	return step, at
}

// skewness returns m3/m2^1.5 of values with mean 0.
func skewness(z []float64) float64 {
	var m2, m3 float64
	for _, v := range z {
		m2 += v * v
		m3 += v * v * v
	}
	n := float64(len(z))
	return m3 / n / math.Pow(m2/n, 1.5)
}
