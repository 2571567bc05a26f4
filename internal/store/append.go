package store

import (
	"bytes"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/record"
)

// appending appends records and brings them to the tables that are read.
type appending struct{ *Tx }

func (tx *Tx) appending() appending { return appending{tx} }

// Draft is a record before it has its place in the ledger.
type Draft struct {
	Type record.Kind
	ID   ledger.ID
	// At is when it happened.
	At       unit.Instant
	By       string
	Device   string
	Because  []ledger.ID
	Corrects ledger.ID
	Reason   string
	// Body is marshalled to a JSON object.
	Body any
	// Content are the bytes of the file that an attachment names, nil for every other type.
	Content []byte
}

// Append adds a record to the ledger and to the tables. Sending the same record again, with the
// same id and content, stores nothing and returns the stored one with fresh = false; another
// content under a used id is a Conflict. A record may replace another (correct, void, finish or
// supersede it) only while nothing else has.
func (tx *Tx) Append(d Draft) (r ledger.Record, fresh bool, err error) {
	if tx.write == nil {
		return r, false, errors.New("append in a reading transaction")
	}
	if err := errors.Join(tx.write.gone(), tx.write.spoilt); err != nil {
		return r, false, err
	}
	body, err := json.Marshal(d.Body)
	if err != nil {
		return r, false, fmt.Errorf("write the body of %s record: %w", record.Called(d.Type), err)
	}
	r = ledger.Record{
		V: ledger.Version, Type: string(d.Type), ID: d.ID, Site: tx.db.site.Code, At: d.At,
		By: d.By, Device: d.Device, Because: d.Because, Corrects: d.Corrects, Reason: d.Reason, Body: body,
		BodyVersion: record.BodyVersion(d.Type),
	}
	kept, err := tx.Record(d.ID)
	if err == nil {
		return kept.Record, false, tx.appending().same(r, kept.Record)
	}
	if fault.CodeOf(err) != fault.NotFound {
		return r, false, err
	}
	if err := record.CheckText(d.Type, body, d.By, d.Device, d.Reason); err != nil {
		return r, false, err
	}
	if err := NoticeClock(tx); err != nil {
		return r, false, err
	}
	r.Recorded = max(tx.Now, tx.write.head.recorded)
	return r, true, tx.appending().add(&r, d.Content)
}

// same compares a record that was sent again with the stored one.
func (tx appending) same(sent, stored ledger.Record) error {
	sent.Seq, sent.Recorded = stored.Seq, stored.Recorded
	sent, err := likeErased(sent, stored)
	if err != nil {
		return err
	}
	a, err := ledger.Encode(sent)
	if err != nil {
		return err
	}
	b, err := ledger.Encode(stored)
	if err != nil {
		return err
	}
	if !bytes.Equal(a, b) {
		return &fault.Error{
			Code:    fault.Conflict,
			Message: fmt.Sprintf("record %s is stored with another content", sent.ID),
			Hint:    "a stored record never changes: send a correction that names it",
		}
	}
	return nil
}

// NoticeClock writes a record of its own when the computer's clock shows less than the newest record has, so that
// the jump in the recorded times is explained where it is. Every record that is written asks for it before.
func NoticeClock(tx *Tx) error {
	if tx.write == nil {
		return errors.New("note of the clock in a reading transaction")
	}
	body, ok := record.ClockBehind(tx.write.head.recorded, tx.Now)
	if !ok {
		return nil
	}
	return NoteClock(tx, body)
}

// NoteClock writes what was noticed of the computer's clock, at the time that it shows now. It is the only record
// whose time may lie before that of the record before.
func NoteClock(tx *Tx, body any) error {
	if tx.write == nil {
		return errors.New("note of the clock in a reading transaction")
	}
	text, err := json.Marshal(body)
	if err != nil {
		return err
	}
	r := ledger.Record{
		V: ledger.Version, Type: string(record.Clock), ID: ledger.DerivedID("clock", tx.db.site.Code, fmt.Sprint(tx.write.head.frontier.Size())),
		Site: tx.db.site.Code, At: tx.Now, Recorded: tx.Now, Body: text, BodyVersion: record.BodyVersion(record.Clock),
	}
	return tx.appending().add(&r, nil)
}

// add gives a record its place, and keeps the file that it attaches.
func (tx appending) add(r *ledger.Record, content []byte) error {
	h := &tx.write.head
	r.Seq = h.frontier.Size()
	leaf, texts, err := commit(*r)
	if err != nil {
		return err
	}
	encoded, err := ledger.Encode(leaf)
	if err != nil {
		return &fault.Error{Code: fault.Invalid, Message: fmt.Sprintf("%s record: %v", r.Type, err), Cause: err}
	}
	where, err := record.Place(*r)
	if err != nil {
		return err
	}
	if err := checkContent(where, record.KindOf(*r), content); err != nil {
		return err
	}
	if err := erasable(tx.Tx, where.Erases); err != nil {
		return err
	}
	if ends, err := tx.ends(*r, where); err != nil {
		return err
	} else if where.Lift != "" && !ends {
		return &fault.Error{
			Code: fault.Invalid, Message: fmt.Sprintf("the lift of hold %s on %s rests on nothing that may end it", where.Lift, where.Scope),
			Hint: "see what ends the hold with: rinsate ready " + where.Scope,
		}
	}
	// What may refuse the record comes before anything is written, so that whoever goes on after a
	// refusal has nothing half-written in the transaction.
	if err := tx.takePlace(*r, where); err != nil {
		return err
	}
	grown := h.frontier
	hashes := ledger.JoinHashes(grown.Append(encoded))
	if _, err := tx.s.Exec(tx.ctx, `INSERT INTO record (site, seq, id, bytes, hashes) VALUES ($1, $2, $3, $4, $5)`,
		r.Site, r.Seq, string(r.ID), encoded, hashes); err != nil {
		return tx.spoil(err)
	}
	if err := keepTexts(tx.ctx, tx.s, r.Site, r.Seq, texts); err != nil {
		return tx.spoil(err)
	}
	if err := tx.fill(*r, where); err != nil {
		return tx.spoil(err)
	}
	if where.File != nil {
		if err := tx.keep(where.File.Digest, content); err != nil {
			return tx.spoil(err)
		}
	}
	h.frontier, h.recorded = grown, r.Recorded
	if record.KindOf(*r) == record.Restore {
		h.restore = r.ID
	}
	return nil
}

// spoil keeps a transaction from being committed after a record was written in part.
func (tx appending) spoil(err error) error {
	tx.write.spoilt = err
	return err
}

// project puts a record into the tables that pages read.
func (tx appending) project(r ledger.Record, p record.Placing) error {
	if ends, err := tx.ends(r, p); err != nil {
		return err
	} else if !ends {
		p.Lift = "" // stays on record and ends nothing
	}
	if err := tx.takePlace(r, p); err != nil {
		return err
	}
	return tx.fill(r, p)
}

// ends says whether a lift ends its hold (record.LiftEnds), over the records that it rests on and that stand.
func (tx appending) ends(r ledger.Record, p record.Placing) (bool, error) {
	if p.Lift == "" {
		return false, nil
	}
	hold, err := tx.Record(ledger.ID(p.Lift))
	if fault.CodeOf(err) == fault.NotFound {
		return true, nil // which is refused where the hold is to be closed
	}
	if err != nil {
		return false, err
	}
	stand := make([]ledger.Record, 0, len(p.Rests))
	for _, id := range p.Rests {
		kept, err := tx.Record(id)
		if err != nil {
			return false, err
		}
		replaced, err := tx.Replaced(kept.Record)
		if err != nil {
			return false, err
		}
		if !replaced.Known() {
			stand = append(stand, kept.Record)
		}
	}
	return record.LiftEnds(r, hold.Record, stand), nil
}

// takePlace marks what the record replaces and lifts. It refuses a record that may not do so before
// it changes anything.
func (tx appending) takePlace(r ledger.Record, p record.Placing) error {
	if p.Replaces != "" {
		if err := tx.replace(p.Replaces, r); err != nil {
			return err
		}
	}
	if p.Lift == "" {
		return nil
	}
	// What some records had ended may be ended again over others: the first may have stopped to count.
	rests := joined(p.Rests)
	n, err := tx.s.Exec(tx.ctx, `UPDATE hold SET lifted = $1, rests = $2 WHERE site = $3 AND scope = $4 AND id = $5
		AND (lifted IS NULL OR rests <> '' AND rests <> $6)`,
		int64(p.At), rests, r.Site, p.Scope, p.Lift, rests)
	if err != nil {
		return tx.spoil(err)
	}
	if n != 1 {
		refusal := &fault.Error{
			Code:    fault.Conflict,
			Message: fmt.Sprintf("hold %s on %s is not open", p.Lift, p.Scope),
			Hint:    "see the open holds with: rinsate ready " + p.Scope,
		}
		if p.Replaces != "" {
			return tx.spoil(refusal)
		}
		return refusal
	}
	return nil
}

// joined writes ids into one column, each between spaces so that it can be found there.
func joined(ids []ledger.ID) string {
	var b strings.Builder
	for i, id := range ids {
		if i == 0 {
			b.WriteByte(' ')
		}
		b.WriteString(string(id))
		b.WriteByte(' ')
	}
	return b.String()
}

// fill writes the rows of a record.
func (tx appending) fill(r ledger.Record, p record.Placing) error {
	if p.Entity != "" {
		delete(tx.standing, thing{record.KindOf(r), p.Entity})
		if _, err := tx.s.Exec(tx.ctx, `INSERT INTO entity (site, type, key, seq, at, recorded) VALUES ($1, $2, $3, $4, $5, $6)`,
			r.Site, r.Type, p.Entity, r.Seq, int64(r.At), int64(r.Recorded)); err != nil {
			return err
		}
	}
	if p.Scope != "" {
		if _, err := tx.s.Exec(tx.ctx, `INSERT INTO event (site, scope, type, at, seq, word, recorded) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
			r.Site, p.Scope, r.Type, int64(p.At), r.Seq, p.Word, int64(r.Recorded)); err != nil {
			return err
		}
	}
	if p.Over.Known() {
		if _, err := tx.s.Exec(tx.ctx, `INSERT INTO used (site, scope, ended, at, seq, recorded) VALUES ($1, $2, $3, $4, $5, $6)`,
			r.Site, p.Scope, int64(p.Over), int64(p.At), r.Seq, int64(r.Recorded)); err != nil {
			return err
		}
	}
	if p.Rules != "" {
		if _, err := tx.s.Exec(
			tx.ctx,
			`INSERT INTO decided (site, rules, verifications) VALUES ($1, $2, 1) ON CONFLICT (site, rules) DO UPDATE SET verifications = decided.verifications + 1`,
			r.Site,
			p.Rules,
		); err != nil {
			return err
		}
	}
	if x := p.Measured; x != nil {
		if _, err := tx.s.Exec(
			tx.ctx,
			`INSERT INTO reading (site, seq, scope, point, kind, system, kit, lot, meter, person, cleaning, at, analyte, unit, value, outcome, id)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17)`,
			r.Site,
			r.Seq,
			x.Scope,
			x.Point,
			x.Kind,
			x.System,
			x.Kit,
			x.Lot,
			x.Meter,
			r.By,
			x.Cleaning,
			int64(x.At),
			x.Analyte,
			x.Unit,
			x.Value,
			x.Outcome,
			string(r.ID),
		); err != nil {
			return err
		}
	}
	if d := p.Disinfected; d != nil {
		if err := tx.disinfected(r, p, *d); err != nil {
			return err
		}
	}
	if p.Meter != "" {
		if _, err := tx.s.Exec(tx.ctx, `INSERT INTO checked (site, seq, meter, id, at, verdict) VALUES ($1, $2, $3, $4, $5, $6)`,
			r.Site, r.Seq, p.Meter, string(r.ID), int64(p.At), p.Verdict); err != nil {
			return err
		}
	}
	if p.Note {
		if _, err := tx.s.Exec(tx.ctx, `INSERT INTO handover (site, seq, at) VALUES ($1, $2, $3)`, r.Site, r.Seq, int64(p.At)); err != nil {
			return err
		}
	}
	if p.Signal != nil {
		if err := tx.fillSignal(r, *p.Signal); err != nil {
			return err
		}
	}
	if len(p.Suspect) > 0 {
		if err := tx.doubt(r, p.Suspect); err != nil {
			return err
		}
	}
	if err := erase(tx.Tx, r.Seq, p.Erases); err != nil {
		return err
	}
	if p.Hold {
		if _, err := tx.s.Exec(tx.ctx, `INSERT INTO hold (site, seq, scope, id, at) VALUES ($1, $2, $3, $4, $5)`,
			r.Site, r.Seq, p.Scope, string(r.ID), int64(p.At)); err != nil {
			return err
		}
	}
	return tx.seal(r)
}

// replace marks a record as replaced by r in every table that holds it.
func (tx appending) replace(id ledger.ID, r ledger.Record) error {
	old, err := tx.Record(id)
	if err != nil {
		return err
	}
	if err := record.Succeeds(r, old.Record); err != nil {
		return err
	}
	p, err := record.Place(old.Record)
	if err != nil {
		return err
	}
	var touched int64
	if p.Scope != "" && !p.Final {
		n, err := tx.s.Exec(tx.ctx, `UPDATE event SET replaced = $1 WHERE site = $2 AND scope = $3 AND type = $4 AND at = $5 AND seq = $6 AND replaced IS NULL`,
			int64(r.Recorded), r.Site, p.Scope, old.Kind(), int64(p.At), old.Seq)
		if err != nil {
			return tx.spoil(err)
		}
		touched += n
	}
	if p.Over.Known() {
		if _, err := tx.s.Exec(tx.ctx, `UPDATE used SET replaced = $1 WHERE site = $2 AND scope = $3 AND ended = $4 AND at = $5 AND seq = $6`,
			int64(r.Recorded), r.Site, p.Scope, int64(p.Over), int64(p.At), old.Seq); err != nil {
			return tx.spoil(err)
		}
	}
	if p.Entity != "" {
		delete(tx.standing, thing{old.Kind(), p.Entity})
		n, err := tx.s.Exec(tx.ctx, `UPDATE entity SET replaced = $1 WHERE site = $2 AND type = $3 AND key = $4 AND seq = $5 AND replaced IS NULL`,
			int64(r.Recorded), r.Site, old.Kind(), p.Entity, old.Seq)
		if err != nil {
			return tx.spoil(err)
		}
		touched += n
	}
	if p.Meter != "" {
		n, err := tx.s.Exec(tx.ctx, `UPDATE checked SET replaced = $1 WHERE site = $2 AND seq = $3 AND replaced IS NULL`, int64(r.Recorded), r.Site, old.Seq)
		if err != nil {
			return tx.spoil(err)
		}
		touched += n
	}
	if p.Note {
		n, err := tx.s.Exec(tx.ctx, `UPDATE handover SET replaced = $1 WHERE site = $2 AND seq = $3 AND replaced IS NULL`, int64(r.Recorded), r.Site, old.Seq)
		if err != nil {
			return tx.spoil(err)
		}
		touched += n
	}
	if touched == 0 {
		return &fault.Error{
			Code:    fault.Conflict,
			Message: fmt.Sprintf("record %s (%s) is replaced already or cannot be replaced", id, old.Kind()),
			Hint:    "look at its chain with: rinsate ledger show " + string(id),
		}
	}
	if p.Signal != nil {
		if _, err := tx.s.Exec(tx.ctx, `UPDATE signal SET replaced = $1 WHERE site = $2 AND seq = $3`, int64(r.Recorded), r.Site, old.Seq); err != nil {
			return tx.spoil(err)
		}
	}
	if p.Rules != "" {
		if _, err := tx.s.Exec(tx.ctx, `UPDATE decided SET verifications = verifications - 1 WHERE site = $1 AND rules = $2`, r.Site, p.Rules); err != nil {
			return tx.spoil(err)
		}
	}
	if p.Measured != nil {
		if _, err := tx.s.Exec(tx.ctx, `UPDATE reading SET replaced = $1 WHERE site = $2 AND seq = $3`, int64(r.Recorded), r.Site, old.Seq); err != nil {
			return tx.spoil(err)
		}
	}
	if p.Disinfected != nil {
		if _, err := tx.s.Exec(tx.ctx, `UPDATE disinfected SET replaced = $1 WHERE site = $2 AND seq = $3`, int64(r.Recorded), r.Site, old.Seq); err != nil {
			return tx.spoil(err)
		}
	}
	if p.Hold { // as if it had never been open
		if _, err := tx.s.Exec(tx.ctx, `UPDATE hold SET lifted = at, rests = '' WHERE site = $1 AND seq = $2`, r.Site, old.Seq); err != nil {
			return tx.spoil(err)
		}
	}
	if len(p.Suspect) > 0 {
		if err := tx.believe(old.Seq, p.Suspect, r.Recorded); err != nil {
			return tx.spoil(err)
		}
	}
	if p.Bears { // a lift that rested on it stands no more
		if _, err := tx.s.Exec(tx.ctx, `UPDATE hold SET lifted = NULL, rests = '' WHERE site = $1 AND scope = $2 AND rests LIKE $3`,
			r.Site, p.Scope, "% "+string(id)+" %"); err != nil {
			return tx.spoil(err)
		}
	}
	if err := tx.changed(old.Seq, r); err != nil {
		return tx.spoil(err)
	}
	return nil
}

// doubt takes the trust from readings because of a mark.
func (tx appending) doubt(mark ledger.Record, readings []ledger.ID) error {
	for _, id := range readings {
		kept, err := tx.Record(id)
		if err != nil {
			return err
		}
		if _, err := tx.s.Exec(tx.ctx, `UPDATE reading SET suspect = $1 WHERE site = $2 AND seq = $3`, int64(mark.Recorded), mark.Site, kept.Seq); err != nil {
			return err
		}
		if _, err := tx.s.Exec(tx.ctx, `INSERT INTO doubted (site, reading, seq, recorded) VALUES ($1, $2, $3, $4)`,
			mark.Site, kept.Seq, mark.Seq, int64(mark.Recorded)); err != nil {
			return err
		}
	}
	return nil
}

// believe gives the trust back that a mark took. A reading that another mark still doubts stays in doubt.
func (tx appending) believe(mark int64, readings []ledger.ID, at unit.Instant) error {
	if _, err := tx.s.Exec(tx.ctx, `UPDATE doubted SET replaced = $1 WHERE site = $2 AND seq = $3`, int64(at), tx.db.site.Code, mark); err != nil {
		return err
	}
	for _, id := range readings {
		kept, err := tx.Record(id)
		if err != nil {
			return err
		}
		if _, err := tx.s.Exec(tx.ctx, `UPDATE reading SET suspect =
			(SELECT max(d.recorded) FROM doubted d WHERE d.site = reading.site AND d.reading = reading.seq AND d.replaced IS NULL)
			WHERE site = $1 AND seq = $2`, tx.db.site.Code, kept.Seq); err != nil {
			return err
		}
	}
	return nil
}

// Record returns a record by its id, NotFound when there is none.
func (tx *Tx) Record(id ledger.ID) (Kept, error) {
	var raw []byte
	err := tx.s.Row(tx.ctx, `SELECT bytes FROM record WHERE site = $1 AND id = $2`, tx.db.site.Code, string(id)).Scan(&raw)
	if errors.Is(err, sql.ErrNoRows) {
		return Kept{}, &fault.Error{Code: fault.NotFound, Message: fmt.Sprintf("there is no record %s", id)}
	}
	if err != nil {
		return Kept{}, err
	}
	r, err := decode(tx, raw)
	return Kept{Record: r}, err
}

// erasable refuses a record that erases what is not there to be erased, before anything is written.
func erasable(tx *Tx, texts []record.FreeText) error {
	for _, t := range texts {
		kept, err := tx.Record(t.Record)
		if err != nil {
			return err
		}
		there, err := textsOf(tx.ctx, tx.s, tx.db.site.Code, kept.Seq)
		if err != nil {
			return err
		}
		if _, ok := there[t.Field]; !ok {
			return &fault.Error{
				Code: fault.NotFound, Message: fmt.Sprintf("record %s has no text %s that could be erased", t.Record, t.Field),
				Hint: "see its texts with: rinsate ledger show " + string(t.Record),
			}
		}
	}
	return nil
}

// erase overwrites free texts and their salts with zeros where they stand. After the commit scrub
// overwrites what is left of them in the write-ahead log.
func erase(tx *Tx, by int64, texts []record.FreeText) error {
	for _, t := range texts {
		kept, err := tx.Record(t.Record)
		if err != nil {
			return err
		}
		if _, err := tx.s.Exec(
			tx.ctx,
			`INSERT INTO erased (site, seq, field, by) VALUES ($1, $2, $3, $4)`,
			tx.db.site.Code,
			kept.Seq,
			t.Field,
			by,
		); err != nil {
			return err
		}
		if tx.write.shadow {
			continue
		}
		n, err := tx.s.Exec(
			tx.ctx,
			`UPDATE text SET salt = zeroblob(length(salt)), value = zeroblob(length(value)) WHERE site = $1 AND seq = $2 AND field = $3`,
			tx.db.site.Code,
			kept.Seq,
			t.Field,
		)
		if err != nil {
			return err
		}
		if n != 1 {
			return fmt.Errorf("%d rows hold the text %s of record %s", n, t.Field, t.Record)
		}
		tx.write.erased = true
	}
	return nil
}

// fillSignal writes the row of what somebody did about a signal.
func (tx appending) fillSignal(r ledger.Record, h record.Handled) error {
	_, err := tx.s.Exec(tx.ctx, `INSERT INTO signal (site, seq, signal, act, at, scope, point, system, kit, reading, signalled, direction, began, last)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14)`,
		r.Site, r.Seq, h.Signal, h.Act, int64(h.At), h.Scope, h.Point, h.System, h.Kit, h.Reading, int64(h.Signalled),
		h.Direction, int64(h.Begin), int64(h.Last))
	return err
}
