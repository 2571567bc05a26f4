package stats_test

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
)

// P(T > t), from the hypergeometric series in decimal arithmetic of 60 digits.
func TestTSurvivalReference(t *testing.T) {
	t.Parallel()
	for _, test := range []struct{ t, df, want float64 }{
		{0.001, 0.5, 0.49973032383424382},
		{0.5, 0.5, 0.37865903646471832},
		{1.5, 0.5, 0.25395089532405422},
		{3, 0.5, 0.18365407799297172},
		{6, 0.5, 0.13065468873499942},
		{12, 0.5, 0.09253026053460106},
		{35, 0.5, 0.054205040552611839},
		{0.001, 1, 0.49968169021991944},
		{0.5, 1, 0.35241638234956673},
		{1.5, 1, 0.18716704181099882},
		{3, 1, 0.10241638234956673},
		{6, 1, 0.05256845671125343},
		{12, 1, 0.026464676059589875},
		{35, 1, 0.0090920946756484341},
		{0.001, 2.5, 0.49963819136039244},
		{0.5, 2.5, 0.32884895993485734},
		{1.5, 2.5, 0.12391822654314813},
		{3, 2.5, 0.036288047774515922},
		{6, 2.5, 0.0076408649427614503},
		{12, 2.5, 0.0014181075150391619},
		{35, 2.5, 9.9061078695384623e-5},
		{0.001, 10, 0.49961089168737049},
		{0.5, 10, 0.31394680287148647},
		{1.5, 10, 0.08225366322272009},
		{3, 10, 0.0066718275112847886},
		{6, 10, 6.6054430177392802e-5},
		{12, 10, 1.4607044123849935e-7},
		{35, 10, 4.2974042779918149e-12},
		{0.001, 200, 0.49960155615056942},
		{0.5, 200, 0.30881237615823034},
		{1.5, 200, 0.067595660613517482},
		{3, 200, 0.0015215235569529514},
		{6, 200, 4.5575601744051927e-9},
		{12, 200, 1.2110680026233157e-25},
		{35, 200, 1.599021871800542e-87},
		{0.001, 9999, 0.49960106776052368},
		{0.5, 9999, 0.30854304021175677},
		{1.5, 9999, 0.066822987490400553},
		{3, 9999, 0.0013532244278561749},
		{6, 9999, 1.0208127094257989e-9},
		{12, 9999, 2.9900440056832093e-33},
		{35, 9999, 1.4165121926372438e-253},
		{0.001, 1e4, 0.49960106775952625},
		{0.5, 1e4, 0.30854303966161671},
		{1.5, 1e4, 0.066822985911809806},
		{3, 1e4, 0.0013532240949988331},
		{6, 1e4, 1.0208092364613077e-9},
		{12, 1e4, 2.9898898039056626e-33},
		{35, 1e4, 1.411959458717138e-253},
		{0.001, 1e5, 0.49960105878344389},
		{0.5, 1e5, 0.30853808882720902},
		{1.5, 1e5, 0.066808779761415299},
		{3, 1e5, 0.0013502304420323596},
		{6, 1e5, 9.8996472780088128e-10},
		{12, 1e5, 1.8722529059781755e-33},
		{35, 1e5, 4.6758331697995309e-267},
		{0.001, 1e6, 0.49960105788582454},
		{0.5, 1e6, 0.30853759373618569},
		{1.5, 1e6, 0.066807359118396385},
		{3, 1e6, 0.0013499312707108985},
		{6, 1e6, 9.8692490617721733e-10},
		{12, 1e6, 1.7858425623825449e-33},
		{35, 1e6, 1.637491816337565e-268},
		{0.001, 1e9, 0.49960105778618867},
		{0.5, 1e9, 0.3085375387809971},
		{1.5, 1e9, 0.066807201426707636},
		{3, 1e9, 0.0013498980648689578},
		{6, 1e9, 9.8658798224924594e-10},
		{12, 1e9, 1.7764914488705718e-33},
		{35, 1e9, 1.125333491567588e-268},
	} {
		t.Run(fmt.Sprintf("t %v, df %v", test.t, test.df), func(t *testing.T) {
			// The exponent of e^-600 costs three digits of the result.
			wantTail(t, "survival", stats.TSurvival(test.t, test.df), test.want, 1e-12)
			wantTail(t, "mirrored", stats.TCDF(-test.t, test.df), test.want, 1e-12)
			wantTail(t, "complement", stats.TCDF(test.t, test.df), 1-test.want, 1e-15)
		})
	}
}

// t with P(T ≤ t) = p, solved in decimal arithmetic of 60 digits.
func TestTQuantileReference(t *testing.T) {
	t.Parallel()
	for _, test := range []struct{ p, df, want float64 }{
		{1e-12, 1, -318309886183.79067},
		{1e-10, 1, -3183098861.8379067},
		{1e-7, 1, -3183098.861837802},
		{0.001, 1, -318.30883898555045},
		{0.025, 1, -12.706204736174705},
		{0.2, 1, -1.3763819204711735},
		{1e-12, 2.5, -55306.174076515815},
		{1e-10, 2.5, -8765.4377713645718},
		{1e-7, 2.5, -553.05998304832134},
		{0.001, 2.5, -13.822193110865965},
		{0.025, 2.5, -3.5746548420036832},
		{0.2, 2.5, -1.0101638747222387},
		{1e-12, 10, -40.532096178662597},
		{1e-10, 10, -25.466008021697726},
		{1e-7, 10, -12.492209687558763},
		{0.001, 10, -4.1437004940465897},
		{0.025, 10, -2.2281388519862747},
		{0.2, 10, -0.87905782855058869},
		{1e-12, 9999, -7.0433724918794108},
		{1e-10, 9999, -6.3679420121802591},
		{1e-7, 9999, -5.2029840031310789},
		{0.001, 9999, -3.091047597579455},
		{0.025, 9999, -1.9602012636213577},
		{0.2, 9999, -0.84165718273671686},
		{1e-12, 1e4, -7.0433716020557756},
		{1e-10, 1e4, -6.3679413514828029},
		{1e-7, 1e4, -5.2029836382672785},
		{0.001, 1e4, -3.0910475160306121},
		{0.025, 1e4, -1.9602012398906263},
		{0.2, 1e4, -0.84165717914165281},
		{1e-12, 1e5, -7.0353717423935763},
		{1e-10, 1e5, -6.3620004198436912},
		{1e-7, 1e5, -5.1997019883650528},
		{0.001, 1e5, -3.0903138094272376},
		{0.025, 1e5, -1.9599877075346096},
		{0.2, 1e5, -0.84162482799690085},
		{1e-12, 1e6, -7.0345726084112566},
		{1e-10, 1e6, -6.3614068488767426},
		{1e-7, 1e6, -5.1993740208165766},
		{0.001, 1e6, -3.0902404563165196},
		{0.025, 1e6, -1.959966356814107},
		{0.2, 1e6, -0.84162159301398401},
	} {
		t.Run(fmt.Sprintf("p %v, df %v", test.p, test.df), func(t *testing.T) {
			wantTail(t, "lower", stats.TQuantile(test.p, test.df), test.want, 2e-14)
			// 1−p carries an error of 1e-16, so the quantile carries 1e-16/p divided by df, or less.
			wantTail(t, "upper", stats.TQuantile(1-test.p, test.df), -test.want, 2e-14+1e-16/test.p)
		})
	}
}

// wantTail compares relatively however small want is.
func wantTail(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Abs(want)) {
		t.Errorf("%s: got %.17g, want %.17g, relative error %.3g", what, got, want, got/want-1)
	}
}

// With one degree of freedom T is Cauchy, with two P(T > t) = ½ − t/(2√(2+t²)).
func TestStudentClosedForms(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(0, 1e9).Draw(t, "t")
		cauchy := 0.5
		if x > 0 {
			cauchy = math.Atan(1/x) / math.Pi
		}
		if got := stats.TSurvival(x, 1); math.Abs(got-cauchy) > 1e-13*cauchy {
			t.Fatalf("1 degree: P(T > %v) = %v, want %v", x, got, cauchy)
		}
		root := math.Sqrt(2 + x*x)
		if got, want := stats.TSurvival(x, 2), 1/(root*(root+x)); math.Abs(got-want) > 1e-13*want {
			t.Fatalf("2 degrees: P(T > %v) = %v, want %v", x, got, want)
		}
	})
}

func TestTQuantileInvertsTCDF(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		df := math.Exp(rapid.Float64Range(math.Log(0.3), math.Log(1e9)).Draw(t, "ln df"))
		p := math.Exp(rapid.Float64Range(-100, math.Log(0.5)).Draw(t, "ln p"))
		q := stats.TQuantile(p, df)
		// An error of 1e-16 in t is one of up to t² ≈ 200 times that in the tail.
		if got := stats.TCDF(q, df); math.Abs(got-p) > 2e-13*p {
			t.Fatalf("df %v: P(T ≤ %v) = %v, want %v", df, q, got, p)
		}
	})
}

// The two evaluations meet: on both sides of the switch to the expansion, a thousand degrees or
// t² = df/10, the tail falls with df and with t.
func TestTSurvivalIsMonotoneAcrossTheSwitch(t *testing.T) {
	t.Parallel()
	for _, x := range []float64{0.5, 2, 5, 9, 10} {
		last := math.Inf(1)
		for _, df := range []float64{990, 999, 999.99, 1000, 1000.01, 1001, 1010, math.Inf(1)} {
			s := stats.TSurvival(x, df)
			if s >= last {
				t.Errorf("P(T > %v) does not fall at df %v: %v after %v", x, df, s, last)
			}
			last = s
		}
	}
	for _, df := range []float64{1000, 4000, 1e4} {
		edge, last := math.Sqrt(df/10), math.Inf(1)
		for _, factor := range []float64{0.99, 0.9999, 1 - 1e-8, 1, 1 + 1e-8, 1.0001, 1.01} {
			s := stats.TSurvival(edge*factor, df)
			if s >= last {
				t.Errorf("P(T > %v), df %v does not fall: %v after %v", edge*factor, df, s, last)
			}
			last = s
		}
	}
}

// P(Z > z) in decimal arithmetic of 40 digits (the complementary error function).
func TestNormalTails(t *testing.T) {
	t.Parallel()
	for _, test := range []struct{ z, want float64 }{
		{0, 0.5},
		{0.5, 0.3085375387259869},
		{1, 0.15865525393145705},
		{1.959963984540054, 0.025000000000000014},
		{3, 0.0013498980316300945},
		{6, 9.8658764503769814e-10},
		{10, 7.6198530241605261e-24},
		{20, 2.7536241186062337e-89},
		{37, 5.7255712225245768e-300},
	} {
		wantTail(t, fmt.Sprintf("P(Z > %v)", test.z), stats.NormalSurvival(test.z), test.want, 1e-13)
		wantTail(t, fmt.Sprintf("P(Z ≤ −%v)", test.z), stats.NormalCDF(-test.z), test.want, 1e-13)
		if test.want > 1e-300 {
			wantTail(t, fmt.Sprintf("quantile of %v", test.want), stats.NormalQuantile(test.want), -test.z, 1e-13)
		}
	}
}

func TestStudentEdges(t *testing.T) {
	t.Parallel()
	inf, nan := math.Inf(1), math.NaN()
	for _, test := range []struct {
		name      string
		got, want float64
	}{
		{"normal quantile of 0", stats.NormalQuantile(0), -inf},
		{"normal quantile of 1", stats.NormalQuantile(1), inf},
		{"normal quantile of −0.1", stats.NormalQuantile(-0.1), nan},
		{"normal quantile of 1.1", stats.NormalQuantile(1.1), nan},
		{"normal quantile of NaN", stats.NormalQuantile(nan), nan},
		{"t quantile of 0", stats.TQuantile(0, 3), -inf},
		{"t quantile of 1", stats.TQuantile(1, 3), inf},
		{"t quantile of ½", stats.TQuantile(0.5, 3), 0},
		{"t quantile of −0.1", stats.TQuantile(-0.1, 3), nan},
		{"t quantile of 1.1", stats.TQuantile(1.1, 3), nan},
		{"t quantile of NaN", stats.TQuantile(nan, 3), nan},
		{"t quantile, df 0", stats.TQuantile(0.1, 0), nan},
		{"t quantile, df −1", stats.TQuantile(0.1, -1), nan},
		{"t quantile, df NaN", stats.TQuantile(0.1, nan), nan},
		{"t quantile, df ∞", stats.TQuantile(0.025, inf), stats.NormalQuantile(0.025)},
		{"t survival, df ∞", stats.TSurvival(1.5, inf), stats.NormalSurvival(1.5)},
		{"t survival at 0", stats.TSurvival(0, 3), 0.5},
		{"t survival at ∞", stats.TSurvival(inf, 3), 0},
		{"t survival at −∞", stats.TSurvival(-inf, 3), 1},
		{"t survival at ∞, many degrees", stats.TSurvival(inf, 1e6), 0},
		{"t survival at NaN", stats.TSurvival(nan, 3), nan},
		{"t survival, df 0", stats.TSurvival(1, 0), nan},
		{"t CDF at −∞", stats.TCDF(-inf, 3), 0},
		{"t CDF at ∞", stats.TCDF(inf, 3), 1},
		{"normal CDF at −∞", stats.NormalCDF(-inf), 0},
		{"normal survival at NaN", stats.NormalSurvival(nan), nan},
	} {
		if test.got != test.want && !(math.IsNaN(test.got) && math.IsNaN(test.want)) {
			t.Errorf("%s is %v, want %v", test.name, test.got, test.want)
		}
	}
}

func BenchmarkTQuantile(b *testing.B) {
	for _, df := range []float64{5, 300, 9000, 1e6} {
		b.Run(fmt.Sprintf("df %v", df), func(b *testing.B) {
			for b.Loop() {
				stats.TQuantile(0.025, df)
			}
		})
	}
}
