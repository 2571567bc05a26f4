// Package demo records twelve months in an invented hospital: its fleet, people, meters, kits and
// rules, the cycles of its endoscopes, and some stories whose truth is known, so that a newcomer
// has something to look at and a test something to find.
//
// Nothing in it is real: every hospital, model, meter, kit, machine and person is made up, and the
// readings are drawn from a model of readings. It writes through package desk alone, as a person
// would, with a clock of its own that moves along with the events. The same options give the same
// records, but for salts and keys.
//
// Read Build first, then Story for what is planted.
package demo

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite"
)

// The size of the data. The hospital does a little under 25 cycles a day, so that fewer
// cycles mean fewer days.
const (
	usualCycles  = 9000
	fewestCycles = 300
	usualDays    = 365
	usualSeed    = 2
)

// Options say what is built.
type Options struct {
	// Today is where the data end: nothing is recorded at or after it. It must be given.
	Today time.Time
	// Seed makes one hospital differ from another; zero means the usual one.
	Seed uint64
	// Cycles is about how many patient uses there are, 300 or more; zero means 9,000, which
	// fill twelve months.
	Cycles int
	// Progress, when given, is called with the days recorded so far and all days. It is called from
	// another goroutine, never twice at once.
	Progress func(done, total int)
}

// Summary is what was built.
type Summary struct {
	Cycles   int `json:"cycles"`
	Samples  int `json:"samples"`
	Readings int `json:"readings"`
	// Verifications counts sampled cleanings, ActionVerifications those of them over the action level.
	Verifications       int   `json:"verifications"`
	ActionVerifications int   `json:"action_verifications"`
	Holds               int   `json:"holds"`
	Voids               int   `json:"voids"`
	Records             int64 `json:"records"`
	// First and Last are when the first and the last record were written.
	First   unit.Instant `json:"first"`
	Last    unit.Instant `json:"last"`
	Stories []Story      `json:"stories"`
	// Trips are the cycles up to their storing, as they truly went.
	Trips []Trip `json:"-"`
}

// Trip is a cycle that ended with the scope in its cabinet.
type Trip struct {
	Scope  string
	Stored unit.Instant
	// Wrong says what of it was not done right, whatever the records say; empty where everything was.
	Wrong string
}

// Build makes a new data folder in dir, which must hold none yet, and fills it.
func Build(ctx context.Context, dir string, o Options) (_ Summary, err error) {
	y, err := Begin(ctx, dir, o, nil)
	if err != nil {
		return Summary{}, err
	}
	defer func() { err = errors.Join(err, y.DB.Close()) }() //nolint:contextcheck // a ledger is closed properly although nobody waits any more
	return y.Record(ctx)
}

// Year is an invented hospital whose year has begun and is not yet on record.
type Year struct {
	// DB is the open data folder. Its clock is that of the year, which moves along with what is recorded,
	// and from the end of Record on the present.
	DB *store.DB

	h       *hospital
	present func() time.Time
	over    atomic.Bool
}

// Begin makes a new data folder in dir, which must hold none yet, for an invented year; Record fills it.
// Whoever looks at the year while it is recorded reads DB. present is the clock of DB from the end of
// Record on; without it the year's clock stays where its records end.
func Begin(ctx context.Context, dir string, o Options, present func() time.Time) (*Year, error) {
	h, err := invent(o)
	if err != nil {
		return nil, err
	}
	y := &Year{h: h, present: present}
	if y.DB, err = sqlite.Folder(dir).Create(ctx, h.site(), y.clock); err != nil {
		return nil, err
	}
	h.summary.First = h.instant()
	return y, nil
}

// Record lets the year go by. It is called once.
func (y *Year) Record(ctx context.Context) (Summary, error) {
	h := y.h
	if err := h.record(ctx, desk.New(y.DB)); err != nil {
		return Summary{}, err
	}
	y.over.Store(true)
	h.summary.Stories, h.summary.Trips = h.stories, h.trips
	err := y.DB.Read(ctx, func(tx *store.Tx) (err error) {
		h.summary.Records, err = tx.Size()
		return err
	})
	return h.summary, err
}

func (y *Year) clock() time.Time {
	if y.present != nil && y.over.Load() {
		return y.present()
	}
	return y.h.clock()
}

// Share returns how much of the year is on record, and whether the rest is still to come.
func (y *Year) Share() (share float64, more bool) {
	begin := unit.At(y.h.begin)
	return float64(y.h.instant()-begin) / float64(y.h.today-begin), !y.over.Load()
}

// hospital is the invented hospital while its year goes by.
type hospital struct {
	options Options
	zone    *time.Location
	// begin is the midnight at which the data begin; days is how many follow.
	begin time.Time
	days  int
	today unit.Instant
	rng   *rand.Rand
	// checks is the randomness of the checks of meters, apart so that these change nothing else.
	checks *rand.Rand

	scopes   []*endoscope
	services []service
	levels   map[levelKey]reading.Level
	effects  effects
	stories  []Story
	trips    []Trip
	// runs counts the cycles of each reprocessor.
	runs map[string]int
	// doubted are the holds that a failed check of a meter has placed, by their scope.
	doubted  map[string][]ledger.ID
	plans    []plan
	patients int
	ids      int

	// day is the next day to be planned, acts what is planned and not yet recorded, in order.
	day  int
	acts []act
	// due counts the acts that are recorded in the next transaction, at now.
	due int
	now atomic.Int64

	summary Summary
}

type levelKey struct {
	system string
	point  scope.PointKind
}

// endoscope is one instrument and what the hospital's staff know about it.
type endoscope struct {
	scope.Instrument
	model scope.Model
	// free is when its last cycle was finished, expires when its storage time is over.
	free, expires unit.Instant
	// reserved is since when it takes part in what the data end with, and no more in other cases.
	reserved unit.Instant
	// passed and uses decide about periodic sampling; unsampled scopes miss theirs from then on.
	passed    unit.Instant
	uses      int
	unsampled unit.Instant
	// cleaning is the last cleaning in the present cycle. The desk starts a cycle at a use or
	// a return from repair, so that reprocessing without a use goes on counting.
	cleaning int
	// exposed says that its last cycle was not complete, and that nobody noticed.
	exposed bool
	// asked are points that somebody wants sampled in the next cycle.
	asked []scope.PointKind
}

// act is something that a person records.
type act struct {
	at unit.Instant // when it is recorded
	do func(*desk.Work) error
}

// plan is something out of the ordinary, or that does not depend on the day's cases.
type plan struct {
	at unit.Instant
	do func(at unit.Instant)
}

func (h *hospital) clock() time.Time      { return h.instant().Time() }
func (h *hospital) instant() unit.Instant { return unit.Instant(h.now.Load()) }

// window is how long acts wait to be recorded together. Each transaction has one instant, which no
// act in it may precede; a short window keeps that instant close to the acts.
const window = 4 * time.Minute

// writers is how many transactions share a durable commit.
const writers = 128

// record lets the year go by. Transactions run one after another on the store's own goroutine in
// the order of next, whichever caller brings them, so that the callers only make the commits fewer.
func (h *hospital) record(ctx context.Context, d *desk.Desk) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	h.advance()
	staff := d.As(access.Scribe()) // each act names who of them does it
	var callers sync.WaitGroup
	for range writers {
		callers.Go(func() {
			for more := true; more; {
				err := staff.Do(ctx, func(w *desk.Work) (err error) {
					more, err = h.next(w)
					return err
				})
				if err != nil {
					cancel(err)
					return
				}
			}
		})
	}
	callers.Wait()
	return context.Cause(ctx)
}

// next records the acts of one window; more is false when there are none left.
func (h *hospital) next(w *desk.Work) (more bool, err error) {
	if h.due == 0 {
		return false, nil
	}
	for _, a := range h.acts[:h.due] {
		if err := a.do(w); err != nil {
			h.due = 0 // nothing may follow on a gap
			return false, fmt.Errorf("at %s: %w", w.Now().In(h.zone), err)
		}
	}
	h.summary.Last = w.Now()
	h.acts = h.acts[h.due:]
	h.advance()
	return h.due > 0, nil
}

// advance plans ahead until the next window is known, and moves the clock to its end.
func (h *hospital) advance() {
	for h.day <= h.days && (len(h.acts) == 0 || h.acts[0].at >= h.midnight(h.day).Add(-window)) {
		if h.options.Progress != nil {
			h.options.Progress(h.day, h.days)
		}
		h.planDay(h.midnight(h.day))
		h.day++
		slices.SortStableFunc(h.acts, func(a, b act) int { return int(a.at - b.at) })
	}
	h.due = 0
	for h.due < len(h.acts) && h.acts[h.due].at <= h.acts[0].at.Add(window) {
		h.due++
	}
	if h.due > 0 {
		h.now.Store(int64(h.acts[h.due-1].at))
	}
}

// midnight returns the beginning of a day of the data.
func (h *hospital) midnight(day int) unit.Instant {
	return unit.At(h.begin.AddDate(0, 0, day))
}

// at returns the instant after a fraction of the whole time.
func (h *hospital) at(fraction float64) unit.Instant {
	begin := unit.At(h.begin)
	return begin + unit.Instant(fraction*float64(h.today-begin))
}

// hour returns an hour of the day of the data that holds an instant.
func (h *hospital) hour(at unit.Instant, hour float64) unit.Instant {
	t := at.Time().In(h.zone)
	return unit.At(time.Date(t.Year(), t.Month(), t.Day(), 0, int(hour*60), 0, 0, h.zone))
}

// id returns the id of the next record.
func (h *hospital) id() ledger.ID {
	h.ids++
	return ledger.DerivedID("demo", strconv.FormatUint(h.options.Seed, 10), strconv.Itoa(h.ids))
}

// add plans the record of something that happened at an instant; nothing is recorded that happens
// after the data end.
func (h *hospital) add(happened unit.Instant, delay time.Duration, do func(*desk.Work) error) {
	last := h.today.Add(-time.Second)
	if happened > last {
		return
	}
	h.acts = append(h.acts, act{min(happened.Add(delay), last), do})
}

// between returns a random length of time.
func (h *hospital) between(shortest, longest time.Duration) time.Duration {
	return shortest + time.Duration(h.rng.Int64N(int64(longest-shortest)+1)).Truncate(time.Second)
}

// entry returns what an act says about itself.
func (h *hospital) entry(by string) desk.Entry { return desk.Entry{ID: h.id(), By: by} }

// both is an entry of the two who take back together what is adverse.
func both(h *hospital) desk.Entry {
	e := h.entry(leads[0])
	e.Second = access.Operator(infectionPrevention)
	return e
}

// counter is where records of a kind are counted, nil for those that the summary leaves out.
func (s *Summary) counter(kind record.Kind) *int {
	for _, c := range []struct {
		kind record.Kind
		n    *int
	}{{record.Use, &s.Cycles}, {record.Sample, &s.Samples}, {record.Reading, &s.Readings}, {record.Hold, &s.Holds}, {record.Void, &s.Voids}} {
		if c.kind == kind {
			return c.n
		}
	}
	return nil
}

// count adds what an act of the desk left behind to the summary.
func (h *hospital) count(r desk.Receipt, err error) error {
	for _, one := range append(r.Followed, r.Record) {
		if n := h.summary.counter(record.KindOf(one)); n != nil {
			*n++
		}
	}
	return err
}

// invent makes the hospital as it is before the first day.
func invent(o Options) (*hospital, error) {
	if o.Seed == 0 {
		o.Seed = usualSeed
	}
	if o.Cycles == 0 {
		o.Cycles = usualCycles
	}
	if o.Today.IsZero() {
		return nil, errors.New("demo: the day on which the data end is missing")
	}
	if o.Cycles < fewestCycles {
		return nil, fmt.Errorf("demo: %d cycles do not hold every story; at least %d are needed", o.Cycles, fewestCycles)
	}
	zone, err := time.LoadLocation(zoneName)
	if err != nil {
		return nil, err
	}
	h := &hospital{
		runs:    map[string]int{},
		options: o,
		zone:    zone,
		today:   unit.At(o.Today),
		rng:     rand.New(rand.NewPCG(o.Seed, 0x72696e73617465)),
		checks:  rand.New(rand.NewPCG(o.Seed, 0x6d65746572)),
		doubted: map[string][]ledger.ID{},
	}
	h.days = o.Cycles * usualDays / usualCycles
	today := o.Today.In(zone)
	h.begin = time.Date(today.Year(), today.Month(), today.Day()-h.days, 0, 0, 0, 0, zone)
	h.now.Store(int64(h.hour(unit.At(h.begin), 5.5)))
	h.equip()
	h.effects = h.drawEffects()
	h.stories = h.telling().tell()
	h.open()
	h.telling().plant()
	slices.SortStableFunc(h.plans, func(a, b plan) int { return int(a.at - b.at) })
	return h, nil
}

// levelOf returns the level by which the readings of a point count.
func (h *hospital) levelOf(system string, point scope.PointKind) reading.Level {
	return h.levels[levelKey{system, point}]
}

// flush returns the volume that rinses a point.
func flush(point scope.PointKind) unit.Millilitres {
	switch point {
	case scope.InstrumentLumen, scope.SuctionLumen:
		return 40
	case scope.ElevatorWire:
		return 5
	case scope.AirLumen, scope.WaterLumen, scope.AuxiliaryLumen, scope.BalloonLumen:
		return 20
	case scope.OuterDistalEnd, scope.ElevatorRecess:
	}
	return 0
}
