// Package desk has one function for each thing that a person does: record a use or a step, collect
// a sample, take a reading, place or lift a hold, ask the release check, see what is due, select at random, import.
//
// Each function loads what is known, asks the domain packages to decide, and hands the resulting
// records to the store in one transaction. It is the only writer. It decides nothing itself: if a
// rule is looked for here, it is in the wrong room.
//
// Read Desk.As and Desk.View first: Work holds what can be done, View what can be asked. Who may do what
// is in one table: Acts.
package desk

import (
	"context"
	"crypto/rand"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/takeback"
	"rinsate/internal/identity"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// futureSlack is how far an event may lie ahead of this computer's clock: other devices' clocks
// are never quite right.
const futureSlack = 2 * time.Minute

// Late says whether an entry was written so long after the event that it is shown as late.
func Late(at, recorded unit.Instant) bool { return record.Late(at, recorded) }

// Desk is the counter at which everything is done.
type Desk struct {
	DB *store.DB
	// rules and levels hold what was parsed before.
	mu sync.Mutex
	// started says that the start of the site is on record.
	started atomic.Bool
	rules   map[ledger.ID]parsedRules
	laxer   map[[2]string]bool
	levels  decodedLevels
}

type parsedRules struct {
	body  []byte
	rules policy.RuleSet
	slip  string
}

type decodedLevels struct {
	first *store.Kept
	count int
	// notes is how many notes on the clock there were: they say since when an edition counts.
	notes int
	// editions are all that were adopted, levels those of them that stand.
	editions []LevelEdition
	levels   []reading.Level
}

// New returns the desk over a store.
func New(db *store.DB) *Desk {
	return &Desk{DB: db, rules: map[ledger.ID]parsedRules{}, laxer: map[[2]string]bool{}}
}

// View is what can be asked about the records as they stand in one transaction.
type View struct {
	desk *Desk
	tx   *store.Tx
}

// Work is what an actor can do in one transaction, and everything that can be asked in it.
type Work struct {
	View
	actor access.Actor
	// dry says that everything is taken back, so that nobody has to sign.
	dry bool
}

// View runs questions on an unchanging state of the records.
func (d *Desk) View(ctx context.Context, ask func(View) error) error {
	return d.DB.Read(ctx, func(tx *store.Tx) error { return ask(View{d, tx}) })
}

// People returns what can be asked about accounts in the same transaction.
func (v View) People() identity.View { return identity.On(v.tx) }

// Now returns the instant of the transaction.
func (v View) Now() unit.Instant { return v.tx.Now }

// Size returns how many records there are.
func (v View) Size() (int64, error) { return v.tx.Size() }

// Zone returns the facility's time zone.
func (v View) Zone() *time.Location { return v.tx.Zone() }

// Entry is what every act says about itself.
type Entry struct {
	// ID names the record; empty gives it a new one. The same id sent twice is stored once.
	ID ledger.ID
	// By is the author of the record. It is that of the actor: it may be left out, and nobody but those
	// who write down what others did (access.Scribe) names another.
	By     string
	Device string
	// Second is who else agrees, where an act takes two.
	Second access.Actor
	// Corrects is the record that this one takes the place of, with the Reason.
	Corrects ledger.ID
	Reason   string
	Because  []ledger.ID
	// also is who signs besides whoever reads a file in, for what it holds that asks for less than before.
	also string
	// asked says that it was asked whether it may take the place of another, or that the rules put it there.
	asked  bool
	taking Taking
}

// Receipt is what an act left behind.
type Receipt struct {
	Record ledger.Record
	// Fresh is false when the same record was stored before.
	Fresh bool
	// Followed are the records that the rules added: verifications, holds, lifts, and voids of holds.
	Followed []ledger.Record
	// Taking says what it took, where a person took something back.
	Taking Taking
}

// Taking is what it takes to take a record back, or to put another version in its place.
type Taking struct {
	Need takeback.Need
	// What is taken back, where it is adverse: "a failed leak test".
	What string
	// Signed says that it would be a signature of whoever acts.
	Signed bool
}

// Two says whether it takes a lead or infection prevention and a second person.
func (t Taking) Two() bool { return t.Need == takeback.Two }

// weighed are the kinds of which a correction is judged by what it says: see Work.replaces.
var weighed = []record.Kind{
	record.Use, record.Step, record.Repair, record.Request, record.Hold, record.Sample, record.Moment, record.Reading, record.Check,
	record.Handover,
}

// Held says for whoever recorded a use or a step that it put the scope on hold, and why; empty when it did not.
func (r Receipt) Held() string {
	for _, f := range r.Followed {
		h, err := record.Body[reprocessing.Hold](f)
		if err != nil || record.KindOf(f) != record.Hold {
			continue
		}
		return strings.TrimPrefix(h.Reason, reprocessing.UsedUnready) + "; it is on hold now" + h.For()
	}
	return ""
}

// append writes one record.
func (w *Work) append(e Entry, typ record.Kind, at unit.Instant, body any) (Receipt, error) {
	return w.appendFile(e, typ, at, body, nil)
}

// appendFile writes one record and keeps the file that it attaches.
func (w *Work) appendFile(e Entry, typ record.Kind, at unit.Instant, body any, content []byte) (Receipt, error) {
	if at > w.tx.Now.Add(futureSlack) {
		return Receipt{}, invalid("%s at %s lies in the future (it is %s)", typ, at.In(w.Zone()), w.tx.Now.In(w.Zone()))
	}
	if e.ID == "" {
		e.ID = ledger.NewID(w.tx.Now, rand.Reader)
	}
	if e.Corrects != "" && !e.asked && slices.Contains(weighed, typ) {
		return Receipt{}, fmt.Errorf("%s record would take the place of another, and nobody was asked", record.Called(typ))
	}
	r, fresh, err := w.tx.Append(store.Draft{
		Type: typ, ID: e.ID, At: at, By: e.By, Device: e.Device, Because: e.Because,
		Corrects: e.Corrects, Reason: e.Reason, Body: body, Content: content,
	})
	return Receipt{Record: r, Fresh: fresh, Taking: e.taking}, err
}

// ended refuses the end of something that has not come yet: as it is stored, it would end by itself and count as done.
func (w *Work) ended(what string, end unit.Instant) error {
	if end <= w.tx.Now.Add(futureSlack) {
		return nil
	}
	return &fault.Error{
		Code:    fault.Invalid,
		Message: fmt.Sprintf("%s: its end at %s lies in the future (it is %s)", what, end.In(w.Zone()), w.tx.Now.In(w.Zone())),
		Hint:    "record the beginning now, and the end when it has ended",
	}
}

func invalid(format string, args ...any) error { return fault.Invalidf(format, args...) }

func notFound(hint, format string, args ...any) error { return fault.NotFoundf(hint, format, args...) }

// refuse turns a domain package's refusal into an error with a code.
func refuse(err error) error { return fault.Refused(err) }
