package desk

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"reflect"
	"slices"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/trend"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/wire/table"
)

// File is a file to be read in.
type File struct {
	Kind    Kind
	Name    string
	Content io.Reader
	Profile table.Profile
	// By is the person who answers for the import.
	By string
	// Tell, when set, is called for every line with what happens to it.
	Tell func(Told)
}

// Told is what an import does with one line.
type Told struct {
	Line int `json:"line"`
	// Fresh is false for a line that is stored already.
	Fresh bool `json:"fresh"`
	// Changes says of a fresh line that it takes the place of what is stored under the same name, or
	// finishes what was stored without an end.
	Changes bool   `json:"changes,omitempty"`
	What    string `json:"what"`
}

// Imported is what became of a file.
type Imported struct {
	File   string `json:"file"`
	Kind   Kind   `json:"kind"`
	Rows   int    `json:"rows"`
	Stored int    `json:"stored"`
	// Changed counts those of the stored rows that take the place of something.
	Changed  int      `json:"changed,omitempty"`
	Known    int      `json:"known"`
	Digest   string   `json:"sha256"`
	Ignored  []string `json:"ignored_columns,omitempty"`
	Warnings []string `json:"warnings,omitempty"`
	// Signals are those that readings of the file began, of series with adopted limits.
	Signals []trend.Signal `json:"signals,omitempty"`
}

// Import reads a file in, in one transaction: either every line of it is stored or, when one is
// wrong, nothing; the error lists what is wrong. A line's record has an id that follows from the
// line, so that reading the same file in again stores nothing twice, and an import that was
// interrupted is simply done again. With dry nothing is stored and everything is told.
func (a Acting) Import(ctx context.Context, f File, dry bool) (Imported, error) {
	out := Imported{File: f.Name, Kind: f.Kind}
	if !slices.Contains(Kinds, f.Kind) {
		return out, invalid("%q is not a kind of file; allowed: %s", f.Kind, strings.Join(words(Kinds), ", "))
	}
	defer a.desk.DB.Occupy()()
	digest := sha256.New()
	// The whole file is one transaction, so a writer that waits for its end is bounded by the size
	// of the file and not by the number of lines.
	work := func(w *Work) error {
		author := Entry{By: f.By}
		if err := w.may(ImportOf(f.Kind), &author); err != nil {
			return err
		}
		f.By = author.By
		// Whoever may read the file in writes down what others did.
		w.actor = access.Scribe()
		in := intake{Work: w, file: f, out: &out, ctx: ctx}
		if err := in.run(io.TeeReader(f.Content, digest)); err != nil {
			return err
		}
		out.Digest = hex.EncodeToString(digest.Sum(nil))
		if dry || out.Stored == 0 {
			return nil
		}
		_, err := w.append(Entry{By: f.By}, record.Import, w.tx.Now, record.ImportBody{
			File: f.Name, Kind: string(f.Kind), Digest: out.Digest, Rows: out.Rows, Stored: out.Stored,
		})
		return err
	}
	if dry {
		return out, a.Try(ctx, work)
	}
	return out, a.Do(ctx, work)
}

// intake is one import under way.
type intake struct {
	*Work
	file File
	out  *Imported
	ctx  context.Context //nolint:containedctx // an intake lives no longer than the call of Import
	// touched is nil when no series has adopted limits.
	touched touched
	// changes says of the present line what Told.Changes says.
	changes bool
}

func (in *intake) run(content io.Reader) error {
	t, err := table.Open(in.file.Name, content, in.file.Profile, Columns(in.file.Kind))
	if err != nil {
		return refuse(err)
	}
	in.out.Ignored = t.Ignored()
	switch in.file.Kind {
	case Models:
		in.models(t)
	case Readings:
		charts, err := in.tx.Entities(record.Chart)
		if err != nil {
			return err
		}
		if len(charts) > 0 { // without limits there is nothing to look at
			in.touched = touched{}
		}
		in.readings(t)
	case Fleet, People, Meters, Lots, Levels, Targets, Uses, Repairs, Steps, Checks:
		r := newRow(t, in.file.Kind)
		for t.Next() && in.ctx.Err() == nil {
			in.line(r)
		}
	}
	if err := in.ctx.Err(); err != nil {
		return err
	}
	if err := t.Err(); err != nil {
		return refuse(err)
	}
	return in.signals()
}

// id returns the id of a line: from the sender's own id where there is one, else from what tells
// one event from another.
func (in *intake) id(own string, natural ...string) ledger.ID {
	parts := []string{"import", in.tx.Site().Code, string(in.file.Kind)}
	if own != "" {
		return ledger.DerivedID(append(parts, "own", own)...)
	}
	return ledger.DerivedID(append(parts, natural...)...)
}

// told counts a line and reports it.
func (in *intake) told(line int, fresh bool, format string, args ...any) {
	in.out.Rows++
	changes := fresh && in.changes
	switch {
	case changes:
		in.out.Stored++
		in.out.Changed++
	case fresh:
		in.out.Stored++
	default:
		in.out.Known++
	}
	if in.file.Tell != nil {
		in.file.Tell(Told{Line: line, Fresh: fresh, Changes: changes, What: fmt.Sprintf(format, args...)})
	}
}

// described registers what a line describes under a name, unless exactly that is registered already.
func (in *intake) described(typ record.Kind, name string, body any, register func(Entry) error) (fresh bool, err error) {
	text, err := json.Marshal(body)
	if err != nil {
		return false, err
	}
	id := in.id("", string(text))
	if _, err := in.tx.Record(id); err == nil {
		return false, nil
	} else if fault.CodeOf(err) != fault.NotFound {
		return false, err
	}
	// The same may have been registered by hand.
	var latest store.Kept
	if latest, in.changes, err = in.tx.Entity(typ, name, store.Forever, store.Forever); err != nil {
		return false, err
	}
	if in.changes && sameJSON(text, latest.Body) {
		return false, nil
	}
	return true, register(Entry{ID: id, By: in.file.By})
}

// sameJSON says whether two texts hold the same, in whatever order of their keys.
func sameJSON(a, b []byte) bool {
	var x, y any
	return json.Unmarshal(a, &x) == nil && json.Unmarshal(b, &y) == nil && reflect.DeepEqual(x, y)
}

func (in *intake) models(t *table.Table) {
	models := ReadModels(t)
	if t.Err() != nil {
		return
	}
	for _, m := range models {
		fresh, err := in.described(record.Model, m.Name, m, func(e Entry) error {
			_, warnings, err := in.SettingUp().RegisterModel(e, in.tx.Now, m)
			for _, warning := range warnings {
				in.out.Warnings = append(in.out.Warnings, fmt.Sprintf("model %s: %s", m.Name, warning))
			}
			return err
		})
		if err != nil {
			problem(t.Field("model"), err)
			return
		}
		in.told(t.Line(), fresh, "model %s with %d channels", m.Name, len(m.Channels))
	}
}

// line reads one row of a kind of file that is read row by row.
func (in *intake) line(r row) {
	now := in.tx.Now
	in.changes = false
	before := r.t.Faults()
	var fresh bool
	var err error
	var what string
	anchor := "scope"
	switch in.file.Kind {
	case Fleet:
		i := r.instrument()
		anchor, what = "tag", "instrument "+i.Tag
		err = i.Check()
		if err == nil {
			fresh, err = in.described(record.Instrument, i.Tag, i, func(e Entry) error { _, err := in.SettingUp().RegisterInstrument(e, now, i); return err })
		}
	case People:
		p := r.person()
		anchor, what = "person", "person "+p.Code
		fresh, err = in.described(record.Person, p.Code, p, func(e Entry) error { _, err := in.SettingUp().RegisterPerson(e, now, p); return err })
	case Meters:
		m := r.meter()
		anchor, what = "meter", "meter "+m.Code
		fresh, err = in.described(record.Meter, m.Code, m, func(e Entry) error { _, err := in.SettingUp().RegisterMeter(e, now, m); return err })
	case Lots:
		l := r.lot()
		anchor, what = "lot", fmt.Sprintf("lot %s of kit %s", l.Lot, l.Kit)
		fresh, err = in.described(record.Lot, l.Kit+"|"+l.Lot, l, func(e Entry) error { _, err := in.SettingUp().RegisterLot(e, now, l); return err })
	case Levels:
		l := r.level()
		anchor, what = "system", fmt.Sprintf("level for %s at %s", l.Scale(), l.Point)
		err = l.Check()
		if err == nil {
			fresh, err = in.described(record.Level, l.Key(), l, func(e Entry) error { _, err := in.SettingUp().AdoptLevel(e, l); return err })
		}
	case Targets:
		x := r.target()
		anchor, what = "material", fmt.Sprintf("target of %s control %s", x.Kind, x.Material)
		err = x.Check()
		if err == nil {
			fresh, err = in.described(
				record.Target,
				x.System+"|"+string(x.Kind)+"|"+x.Material,
				x,
				func(e Entry) error { _, err := in.AtMeters().RegisterTarget(e, x); return err },
			)
		}
	case Checks:
		c := r.check()
		at := r.col["at"].Time()
		anchor, what = "meter", fmt.Sprintf("check of meter %s at %s", c.Meter, at.In(in.Zone()))
		if r.t.Faults() == before {
			var receipt Receipt
			receipt, _, err = in.AtMeters().CheckMeter(Entry{ID: in.id(r.col["id"].Text(), c.Meter, at.String()), By: r.col["person"].Text()}, c)
			fresh = receipt.Fresh
		}
	case Uses:
		u := r.use()
		what = fmt.Sprintf("use of %s at %s", u.Scope, u.Start.In(in.Zone()))
		id := in.id(r.col["id"].Text(), u.Scope, u.Start.String())
		if u.End.Known() {
			id, u.Finishes, err = finishing(in, id, func(begun reprocessing.Use) bool { return !begun.End.Known() })
		}
		var receipt Receipt
		if err == nil {
			receipt, err = in.RecordUse(Entry{ID: id, By: r.col["person"].Text()}, u, r.col["patient"].Text())
		}
		fresh = receipt.Fresh
	case Repairs:
		x := r.repair()
		what = fmt.Sprintf("repair of %s", x.Scope)
		id, finishes := in.id(r.col["id"].Text(), x.Scope, x.Sent.String()), ""
		if x.Returned.Known() {
			id, finishes, err = finishing(in, id, func(gone record.RepairBody) bool { return !gone.Returned.Known() })
		}
		var receipt Receipt
		if err == nil {
			receipt, err = in.RecordRepair(Entry{ID: id, By: r.col["person"].Text()}, x, finishes)
		}
		fresh = receipt.Fresh
	case Steps:
		s := r.step()
		what = fmt.Sprintf("%s of %s at %s", s.Kind, s.Scope, s.Start.In(in.Zone()))
		id := in.id(r.col["id"].Text(), s.Scope, string(s.Kind), s.Start.String())
		if s.End.Known() {
			id, s.Finishes, err = finishing(in, id, func(begun reprocessing.Step) bool { return !begun.End.Known() })
		}
		var receipt Receipt
		if err == nil {
			receipt, err = in.RecordStep(Entry{ID: id, By: s.By}, s)
		}
		fresh = receipt.Fresh
	case Models, Readings:
	}
	if r.t.Faults() != before { // a cell is wrong; what follows from it would only repeat that
		return
	}
	if err != nil {
		problem(r.col[anchor], err)
		return
	}
	in.told(r.t.Line(), fresh, "%s", what)
}

// finishing looks whether a line that has an end was stored before without one: another system's
// export grows while uses and steps go on. It then returns the id of the finishing record and the
// record that it finishes; otherwise the id as it is.
func finishing[T any](in *intake, id ledger.ID, open func(T) bool) (ledger.ID, string, error) {
	kept, err := in.tx.Record(id)
	if fault.CodeOf(err) == fault.NotFound {
		return id, "", nil
	}
	if err != nil {
		return id, "", err
	}
	body, err := record.Body[T](kept.Record)
	if err != nil || !open(body) {
		return id, "", err
	}
	in.changes = true
	return ledger.DerivedID("finish", string(id)), string(id), nil
}

// touched is since when the readings of a file belong to a series.
type touched map[trend.Key]unit.Instant

func (t touched) add(r ledger.Record) error {
	x, err := record.Body[reading.Reading](r)
	if err != nil {
		return err
	}
	key := trend.Key{Scope: x.Scope, Point: x.With.Point, System: x.With.System, Kit: x.With.Kit}
	if first, ok := t[key]; !ok || x.With.At < first {
		t[key] = x.With.At
	}
	return nil
}

// signals looks at the series that the readings of a file belong to.
func (in *intake) signals() error {
	keys := slices.SortedFunc(maps.Keys(in.touched), compareKeys)
	for _, key := range keys {
		s, err := in.Numbers().Series(key, in.tx.Now)
		if err != nil {
			return err
		}
		for _, a := range s.Watched.Signals {
			if a.First.At >= in.touched[key] {
				in.out.Signals = append(in.out.Signals, a)
			}
		}
	}
	return nil
}

func (in *intake) readings(t *table.Table) {
	c := newSampleColumns(t)
	for t.Next() && in.ctx.Err() == nil {
		bad := t.Faults()
		s, ok := c.row()
		if !ok || t.Faults() != bad {
			continue
		}
		if err := in.reading(&c, s, t.Line()); err != nil {
			problem(c.scope, err)
		}
	}
}

// reading stores the sample of one row and, when there is a value, its reading.
func (in *intake) reading(c *sampleColumns, s sampled, line int) error {
	own := c.id.Text()
	key := []string{s.sample.Scope, string(s.sample.Point), s.sample.Collected.String()}
	sample := Entry{ID: in.id(own, key...), By: s.sample.By}
	if own != "" {
		sample.ID = in.id(own+" sample", key...)
	}
	taken, err := in.Collect(sample, s.sample)
	if err != nil {
		return err
	}
	if !s.hasValue {
		in.told(line, taken.Fresh, "sample of %s at %s", s.sample.Scope, s.sample.Point)
		return nil
	}
	s.in.Sample = taken.Record.ID
	e := Entry{ID: in.id(own, append(key, string(s.in.Value.Analyte), s.in.At.String())...), By: s.sample.By}
	receipt, err := in.Read(e, s.in)
	if err != nil {
		return err
	}
	if in.touched != nil && receipt.Fresh {
		if err := in.touched.add(receipt.Record); err != nil {
			return err
		}
	}
	if in.file.Tell == nil {
		in.told(line, receipt.Fresh, "")
		return nil
	}
	x, err := record.Body[reading.Reading](receipt.Record)
	if err != nil {
		return err
	}
	text := fmt.Sprintf("%s of %s: %s, %s", s.sample.Point, s.sample.Scope, s.in.Value, x.Judgement.Outcome)
	then := make([]string, len(receipt.Followed))
	for i, r := range receipt.Followed {
		then[i] = ", then " + r.Type
	}
	in.told(line, receipt.Fresh, "%s%s", text, strings.Join(then, ""))
	return nil
}
