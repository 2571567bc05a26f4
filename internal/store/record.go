package store

import (
	"encoding/json"
	"fmt"
	"strings"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/domain/turnaround"
)

// The types of records. They are part of the ledger for ever: never rename or reuse one, only add.
const (
	TypeSite       = "site"       // body Site
	TypeModel      = "model"      // body scope.Model
	TypeInstrument = "instrument" // body scope.Instrument
	TypeMeter      = "meter"      // body quality.Meter
	TypeLot        = "lot"        // body quality.Lot
	TypePerson     = "person"     // body Person
	TypeRules      = "rules"      // body RuleText
	TypeLevel      = "level"      // body Level
	TypeUse        = "use"        // body turnaround.Use
	TypeStep       = "step"       // body turnaround.Step
	TypeSample     = "sample"     // body sampling.Sample
	TypeMoment     = "moment"     // body sampling.Moment
	TypeReading    = "reading"    // body reading.Reading
	TypeRound      = "round"      // body turnaround.Decision
	TypeHold       = "hold"       // body turnaround.Hold
	TypeLift       = "lift"       // body turnaround.Lift
	TypeRepair     = "repair"     // body scope.Repair, with finishes
	TypeRequest    = "request"    // body sampling.Request
	TypeVoid       = "void"       // body Voiding; the record names what it voids
	TypeDraw       = "draw"       // body Drawn
	TypeImport     = "import"     // body Import
	TypeTarget     = "target"     // body quality.Target
	TypeCheck      = "check"      // body Check
	TypeSuspect    = "suspect"    // body Suspect
	TypeComparison = "comparison" // body Comparison
	TypeChart      = "chart"      // body Chart
	TypeAccess     = "access"     // body Access
	TypeAttachment = "attachment" // body dossier.Attachment; the bytes are in the table of contents
	TypeHandover   = "handover"   // body dossier.Handover
	TypeAlarm      = "alarm"      // body trend.Handling
	TypeClock      = ledger.TypeClock
)

// Types lists every type of record.
var Types = []string{
	TypeSite, TypeModel, TypeInstrument, TypeMeter, TypeLot, TypePerson, TypeRules, TypeLevel,
	TypeUse, TypeStep, TypeSample, TypeMoment, TypeReading, TypeRound, TypeHold, TypeLift,
	TypeRepair, TypeRequest, TypeVoid, TypeDraw, TypeImport,
	TypeTarget, TypeCheck, TypeSuspect, TypeComparison, TypeChart, TypeAccess,
	TypeAttachment, TypeHandover, TypeAlarm, TypeClock,
}

// Called returns a type of record with its article, such as "a hold" and "an attachment". All types that
// begin with a vowel sound begin with another letter than u.
func Called(typ string) string {
	if strings.HasPrefix(typ, "a") || strings.HasPrefix(typ, "e") || strings.HasPrefix(typ, "i") || strings.HasPrefix(typ, "o") {
		return "an " + typ
	}
	return "a " + typ
}

// Person is somebody who works with scopes. Names do not belong in the ledger; the code stands for
// the person.
type Person struct {
	Code string `json:"code"`
	Role string `json:"role,omitempty"`
}

// RuleText is a rule set as it was adopted, word for word.
type RuleText struct {
	Name    string `json:"name"`
	Edition string `json:"edition"`
	Digest  string `json:"sha256"`
	Text    string `json:"text"`
}

// Repair is a repair as it is recorded: once when the scope goes, and finished when it is back.
type Repair struct {
	scope.Repair
	Finishes string `json:"finishes,omitempty"`
}

// Voiding is the body of a record that voids another; the envelope names it and says why.
type Voiding struct {
	Scope string `json:"scope,omitempty"`
}

// Drawn is a periodic draw with all that is needed to repeat it.
type Drawn struct {
	Seed       string               `json:"seed"`
	Rule       sampling.Drawing     `json:"rule"`
	Candidates []sampling.Candidate `json:"candidates"`
	Picks      []sampling.Pick      `json:"picks"`
}

// Check is one check of a meter: the controls that were read together, and what they mean.
type Check struct {
	Meter    string            `json:"meter"`
	Controls []quality.Control `json:"controls"`
	Verdict  quality.Verdict   `json:"verdict"`
	// Rules names the rule set and edition that judged.
	Rules string `json:"rules"`
	// Serviced says what was done to the meter before, so that earlier checks do not count any more.
	Serviced string `json:"serviced,omitempty"`
}

// Comparison is a comparison of a new lot or meter with the old one, as it was computed.
type Comparison struct {
	Old    quality.Setup  `json:"old"`
	New    quality.Setup  `json:"new"`
	Plan   quality.Plan   `json:"plan"`
	Answer quality.Answer `json:"answer"`
	Why    string         `json:"why"`
	Pairs  []quality.Pair `json:"pairs"`
	// Ratio is that of the geometric means, new to old, with its interval and the limits of agreement:
	// evidence, never a factor to convert by.
	Ratio     unit.Number    `json:"ratio,omitzero"`
	RatioCI   [2]unit.Number `json:"ratio_interval,omitzero"`
	Agreement [2]unit.Number `json:"limits_of_agreement,omitzero"`
}

// Chart is the baseline and the limits of one stream as somebody adopted them: from then on new
// readings are held against them.
type Chart struct {
	Stream   trend.Key      `json:"stream"`
	Baseline trend.Baseline `json:"baseline"`
	Design   trend.Design   `json:"design"`
	Adopter  string         `json:"adopted_by"`
	Adopted  unit.Instant   `json:"adopted"`
}

// Access is what somebody may do here from then on. It names the code and never the person.
type Access struct {
	Code string `json:"code"`
	// Change is what was done to the account.
	Change   AccessChange  `json:"change"`
	Roles    []access.Role `json:"roles"`
	Disabled bool          `json:"disabled,omitempty"`
}

// AccessChange is what was done to an account.
type AccessChange string

// The changes. They are part of the ledger for ever: never rename or reuse one, only add.
const (
	AccountAdded    AccessChange = "added"
	RolesChanged    AccessChange = "roles"
	PasswordChanged AccessChange = "password"
	PINChanged      AccessChange = "pin"
	BadgeChanged    AccessChange = "badge"
	AccountDisabled AccessChange = "disabled"
	AccountEnabled  AccessChange = "enabled"
	AccountReset    AccessChange = "reset" // no password, PIN or passkey any more; a one-time code was given out
	PasskeyAdded    AccessChange = "passkey-added"
	PasskeyRemoved  AccessChange = "passkey-removed"
)

// Key tells the stream from others.
func (c Chart) Key() string {
	return c.Stream.Scope + "|" + string(c.Stream.Point) + "|" + c.Stream.System + "|" + c.Stream.Kit
}

// Level is a level as it was adopted, with what it was derived from where it was derived here.
type Level struct {
	reading.Level
	Derivation json.RawMessage `json:"derivation,omitempty"`
}

// Suspect takes the trust from readings of one scope, because a check of their meter failed. They
// stay on record; a reading that passed does not count any more.
type Suspect struct {
	Scope string `json:"scope"`
	Meter string `json:"meter"`
	// Check is the record of the failed check, At when it was made.
	Check ledger.ID    `json:"check"`
	At    unit.Instant `json:"at"`
	// Since is the last good check before, zero when there was none.
	Since    unit.Instant `json:"since,omitzero"`
	Reason   string       `json:"reason"`
	Readings []ledger.ID  `json:"readings"`
}

// Import is the trace of a file that was read in.
type Import struct {
	File    string `json:"file"`
	Kind    string `json:"kind"`
	Digest  string `json:"sha256"`
	Rows    int    `json:"rows"`
	Stored  int    `json:"stored"`
	Profile string `json:"profile_sha256,omitempty"`
}

// ClockFault is the body of a record that notices that the computer's clock was set back.
type ClockFault struct {
	Before unit.Instant `json:"before"`
	Now    unit.Instant `json:"now"`
}

// Kept is a record as it was read back.
type Kept struct {
	ledger.Record
	// Replaced is when another record voided, corrected, finished or superseded it.
	Replaced unit.Instant
}

// Stamp returns what the entries of a history carry.
func (k Kept) Stamp() turnaround.Stamp {
	return turnaround.Stamp{ID: string(k.ID), Recorded: k.Recorded, Replaced: k.Replaced}
}

// Body reads the body of a record.
func Body[T any](r ledger.Record) (T, error) {
	var body T
	if err := json.Unmarshal(r.Body, &body); err != nil {
		return body, fmt.Errorf("body of record %d (%s): %w", r.Seq, r.Type, err)
	}
	return body, nil
}

// Rules reads the rule set of a record.
func (t RuleText) Rules() (policy.RuleSet, error) {
	return policy.Parse(t.Name, []byte(t.Text))
}

// placing says into which tables a record goes.
type placing struct {
	// entity is the key in the entity table, empty when it is none.
	entity string
	// scope, at and word are the columns of the event table; scope is empty when it is no event.
	scope string
	at    unit.Instant
	word  string
	// ended is when a use ended, Forever while it goes on; zero for everything else.
	ended unit.Instant
	// replaces is the record that this one takes the place of.
	replaces ledger.ID
	reading  *reading.Reading
	// lift is the hold that ends if the lift may end it, round the decision that this rests on alone.
	lift, round string
	// rules is the edition of the rule set that a round was decided by.
	rules string
	hold  bool
	// meter and verdict are columns of the table of checks; suspect are the readings that the record
	// takes the trust from.
	meter, verdict string
	suspect        []ledger.ID
	// file is what the record attaches, note whether it is a hand-over note.
	file *dossier.File
	note bool
	// alarm is what somebody did about an alarm.
	alarm *trend.Handling
}

// place reads from a record where it belongs. It is the one place that knows: appending and
// rebuilding both go through it.
func place(r ledger.Record) (placing, error) {
	p := placing{replaces: r.Corrects}
	var err error
	switch r.Type {
	case TypeSite, TypeClock, TypeImport:
	case TypeModel:
		err = with(r, func(m scope.Model) { p.entity = m.Name })
	case TypeInstrument:
		err = with(r, func(i scope.Instrument) { p.entity = i.Tag })
	case TypeMeter:
		err = with(r, func(m quality.Meter) { p.entity = m.Code })
	case TypeLot:
		err = with(r, func(l quality.Lot) { p.entity = l.Kit + "|" + l.Lot })
	case TypePerson:
		err = with(r, func(x Person) { p.entity = x.Code })
	case TypeAccess:
		err = with(r, func(x Access) { p.entity = x.Code })
	case TypeRules:
		p.entity = "rules"
	case TypeLevel:
		err = with(r, func(l reading.Level) { p.entity = l.Key() })
	case TypeDraw:
		p.entity = string(r.ID)
	case TypeUse:
		err = with(r, func(u turnaround.Use) {
			p.scope, p.at, p.word, p.ended = u.Scope, u.Start, u.Procedure, u.End
			if !u.End.Known() {
				p.ended = Forever
			}
			p.finish(u.Finishes)
		})
	case TypeStep:
		err = with(r, func(s turnaround.Step) {
			p.scope, p.at, p.word = s.Scope, s.Start, string(s.Kind)
			p.finish(s.Finishes)
		})
	case TypeSample:
		err = with(r, func(s sampling.Sample) { p.scope, p.at, p.word = s.Scope, s.Collected, string(s.Point) })
	case TypeMoment:
		err = with(r, func(m sampling.Moment) { p.scope, p.at, p.word = m.Scope, m.At, string(m.Mark) })
	case TypeReading:
		err = with(r, func(x reading.Reading) {
			p.scope, p.at, p.word, p.reading = x.Scope, x.With.At, string(x.Judgement.Outcome), &x
		})
	case TypeRound:
		err = with(r, func(d turnaround.Decision) {
			p.scope, p.at, p.word, p.rules = d.Scope, d.Last, string(d.Round.Outcome), d.Rules
			p.finish(d.Supersedes)
		})
	case TypeHold:
		err = with(r, func(h turnaround.Hold) { p.scope, p.at, p.hold = h.Scope, h.At, true })
	case TypeLift:
		err = with(r, func(l turnaround.Lift) {
			p.scope, p.at, p.lift = l.Scope, l.At, l.Hold
			if !l.Two() {
				p.round = l.Round
			}
		})
	case TypeRepair:
		err = with(r, func(x Repair) {
			p.scope, p.at = x.Scope, x.Sent
			p.finish(x.Finishes)
		})
	case TypeRequest:
		err = with(r, func(q sampling.Request) { p.scope, p.at = q.Scope, q.At })
	case TypeTarget:
		err = with(r, func(t quality.Target) { p.entity = t.System + "|" + string(t.Kind) + "|" + t.Material })
	case TypeCheck:
		err = with(r, func(c Check) { p.meter, p.at, p.verdict = c.Meter, c.Verdict.At, string(c.Verdict.Outcome) })
	case TypeChart:
		err = with(r, func(c Chart) { p.entity = c.Key() })
	case TypeSuspect:
		err = with(r, func(x Suspect) { p.scope, p.at, p.word, p.suspect = x.Scope, x.At, string(x.Check), x.Readings })
	case TypeComparison:
		p.entity = string(r.ID)
	case TypeAttachment:
		err = with(r, func(a dossier.Attachment) { p.scope, p.at, p.word, p.file = a.Scope, a.At, string(a.Kind), &a.File })
	case TypeHandover:
		err = with(r, func(h dossier.Handover) { p.at, p.note = h.At, true })
	case TypeAlarm:
		err = with(r, func(h trend.Handling) { p.scope, p.at, p.word, p.alarm = h.Stream.Scope, h.At, string(h.Act), &h })
	case TypeVoid:
		err = with(r, func(v Voiding) { p.scope, p.at = v.Scope, r.At })
	default:
		return p, fmt.Errorf("record %d has the unknown type %q; a newer program wrote it", r.Seq, r.Type)
	}
	return p, err
}

// finish names the record that this one completes. The correction of such a record takes the place
// of the record that it corrects; what that one completed stays replaced.
func (p *placing) finish(id string) {
	if id != "" && p.replaces == "" {
		p.replaces = ledger.ID(id)
	}
}

func with[T any](r ledger.Record, use func(T)) error {
	body, err := Body[T](r)
	if err == nil {
		use(body)
	}
	return err
}
