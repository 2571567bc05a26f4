package trend

import (
	"cmp"
	"fmt"
	"math"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
)

// Key names a series: what one scope gave at one sampling point on one meter system with one kit.
// Relative light units of different systems or kits are never pooled, since each counts on a scale
// of its own (reading.SameScale).
type Key struct {
	Scope  string          `json:"scope"`
	Point  scope.PointKind `json:"point"`
	System string          `json:"system"`
	Kit    string          `json:"kit"`
}

// Scale returns what makes two series comparable.
func (k Key) Scale() reading.Scale {
	return reading.Scale{System: k.System, Kit: k.Kit, Analyte: reading.ATP}
}

// String prints the key for a message.
func (k Key) String() string {
	return fmt.Sprintf("%s, %s, %s with %s", k.Scope, k.Point, k.System, k.Kit)
}

// Point is one reading of a series. Value is in relative light units, 0 and above.
type Point struct {
	ID    ledger.ID
	At    unit.Instant // when the reading was taken, not when it was entered
	Value float64
}

// compare orders points by event time, then by id.
func (p Point) compare(q Point) int {
	return cmp.Or(cmp.Compare(p.At, q.At), cmp.Compare(p.ID, q.ID))
}

// LogRLU returns y = log10(RLU+1), the scale on which readings are analysed. Residues of soil
// multiply and divide rather than add, so that relative light units spread roughly like a
// lognormal variable (common practice for ATP readings): on the log scale their spread does not
// depend on their level and their upper tail is not mistaken for outliers. The 1 admits a reading
// of 0 and is far below what decides anything.
func LogRLU(value float64) float64 { return math.Log(value+1) / math.Ln10 }

// RLU is the inverse of [LogRLU].
func RLU(y float64) float64 { return math.Expm1(y * math.Ln10) }

// checkPoints says what is wrong with the points of a series.
func checkPoints(points []Point) error {
	for i, p := range points {
		switch {
		case !finite(p.Value) || p.Value < 0:
			return fmt.Errorf("reading %s has the value %v, want 0 RLU or more: %w", p.ID, p.Value, ErrReadings)
		case !p.At.Known():
			return fmt.Errorf("reading %s has no instant: %w", p.ID, ErrReadings)
		case i == 0:
		case p == points[i-1] || p.compare(points[i-1]) == 0:
			return fmt.Errorf("reading %s at %s is given twice: %w", p.ID, p.At, ErrReadings)
		case p.compare(points[i-1]) < 0:
			return fmt.Errorf("reading %s at %s comes after a later one, sort them by when they happened first: %w", p.ID, p.At, ErrReadings)
		}
	}
	return nil
}

// Reason is why a series needs a new baseline.
type Reason string

// The reasons.
const (
	Repair         Reason = "repair"
	ProtocolChange Reason = "protocol"
)

// Break ends the validity of a baseline: readings at or after it belong to the next segment.
type Break struct {
	At     unit.Instant `json:"at"`
	Reason Reason       `json:"reason"`
}
