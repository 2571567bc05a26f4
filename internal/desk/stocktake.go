package desk

import (
	"fmt"
	"io"
	"strconv"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/wire/table"
)

// OnPaper is what a stock-take is about.
type OnPaper struct {
	// Open are the scopes in service that are not known, Taken those that are ready by a stock-take.
	Open  []Unknown                `json:"not_known"`
	Taken []reprocessing.StockTake `json:"listed"`
	// Cabinets are those of the rule set.
	Cabinets []string `json:"cabinets"`
}

// Unknown is a scope that is not known.
type Unknown struct {
	Scope string `json:"scope"`
	Model string `json:"model"`
	// Why says why a list cannot speak for it; empty when it can.
	Why string `json:"why,omitempty"`
}

// OnPaper returns the scopes that a stock-take could be about now.
func (v DayView) OnPaper(now unit.Instant) (s OnPaper, err error) {
	s.Open, s.Taken, s.Cabinets = []Unknown{}, []reprocessing.StockTake{}, []string{}
	rules, err := v.Registry().Rules(now, store.Forever)
	if fault.CodeOf(err) == fault.NotFound {
		return s, nil // nothing is set up yet
	}
	if err != nil {
		return s, err
	}
	for _, c := range rules.Reprocessing.Cabinets {
		s.Cabinets = append(s.Cabinets, c.Name)
	}
	fleet, err := v.Registry().Instruments()
	if err != nil {
		return s, err
	}
	for _, i := range fleet {
		if i.InService > now || i.Retired.Known() && i.Retired <= now {
			continue
		}
		a, err := v.ReleaseNow(i.Tag, now, store.Forever)
		if err != nil {
			return s, err
		}
		if a.StockTake != "" {
			k, err := v.tx.Record(ledger.ID(a.StockTake))
			if err != nil {
				return s, err
			}
			t, err := record.Body[reprocessing.StockTake](k.Record)
			if err != nil {
				return s, err
			}
			t.ID = a.StockTake
			s.Taken = append(s.Taken, t)
			continue
		}
		why, err := unlistable(v.View, i.Tag, now)
		if err != nil {
			return s, err
		}
		if a.State == reprocessing.NotKnown || why == "" {
			s.Open = append(s.Open, Unknown{i.Tag, i.Model, why})
		}
	}
	return s, nil
}

// unlistable says why a list cannot speak for a scope now; empty when it can.
func unlistable(v View, tag string, now unit.Instant) (string, error) {
	h, _, err := v.present(tag, now, store.Forever)
	if err != nil {
		return "", err
	}
	if why := h.Listable(); why != "" {
		return why, nil
	}
	site, err := v.People().Opening(store.Forever)
	if _, restored := h.Restored(); err == nil && !restored && site.Start != nil && h.Instrument.InService > site.Start.At {
		return "it came into service after the start, which is an arrival: reprocess it", nil
	}
	return "", err
}

// Listed is one scope of a stock-take.
type Listed struct {
	Scope   string
	Cabinet string
	// Until is when its storage ends, as its paper shows.
	Until unit.Instant
	// Papers are photographs that are filed with the scope already.
	Papers []ledger.ID
}

// Photograph is a picture, or a scan, of the paper of all scopes of a list.
type Photograph struct {
	Media   dossier.Media
	Content []byte
}

// stockTitle is what a photograph of a list is filed as.
const stockTitle = "paper of the stock-take"

// TakeStock records that two people, a lead and infection prevention, have seen on paper that scopes are reprocessed of
// which nothing is on record. It is one act for the whole list and one record for each scope, so that each can be taken
// back; each photograph is filed with every scope of the list. It lifts no hold.
func (w VouchWork) TakeStock(e Entry, list []Listed, photographs []Photograph, second string) (Receipt, error) {
	if err := w.may(ToTakeStock, &e); err != nil {
		return Receipt{}, err
	}
	if err := w.second(ToTakeStock, e, &second); err != nil {
		return Receipt{}, err
	}
	if len(list) == 0 {
		return Receipt{}, invalid("a stock-take needs at least one scope")
	}
	if r, ok, err := again(w.Work, e.ID, record.StockTake, func(x reprocessing.StockTake) bool {
		return x.By == e.By && x.Second == second && x.Scope == list[0].Scope && x.Cabinet == list[0].Cabinet && x.Until == list[0].Until
	}); ok || err != nil {
		return r, err
	}
	if store.Lacks(w.desk.DB) != nil {
		return Receipt{}, &fault.Error{
			Code: fault.Conflict, Message: "these records are a copy, and nobody has said so yet",
			Hint: "the lead says first that they were restored; then two sign the list",
		}
	}
	p, err := pair(w.View, e.By, second, 0, ToTakeStock, ToTakeStock)
	if err == nil {
		err = p.Be(access.Lead, access.InfectionPrevention)
	}
	if err != nil {
		return Receipt{}, err
	}
	rules, err := w.Registry().Rules(w.tx.Now, store.Forever)
	if err != nil {
		return Receipt{}, err
	}
	if e.ID == "" {
		e.ID = ledger.DerivedID("stock-take", w.tx.Site().Code, w.tx.Now.String(), e.By, list[0].Scope)
	}
	var first Receipt
	seen := map[string]bool{}
	for _, x := range list {
		if seen[x.Scope] {
			return Receipt{}, invalid("%s is on the list twice", x.Scope)
		}
		seen[x.Scope] = true
		t := reprocessing.StockTake{Scope: x.Scope, At: w.tx.Now, By: e.By, Second: second, Cabinet: x.Cabinet, Until: x.Until}
		t.ByRoles, t.SecondRoles = p.Roles()
		if t.Papers, err = w.papers(e, x, photographs); err != nil {
			return Receipt{}, err
		}
		if err = t.Check(); err == nil {
			err = t.Allowed(rules.Reprocessing, w.Zone())
		}
		if err != nil {
			return Receipt{}, refuse(err)
		}
		one := e
		if first.Record.ID != "" {
			t.List = string(first.Record.ID)
			one.ID, one.Because = ledger.DerivedID("stock-take", string(e.ID), x.Scope), []ledger.ID{first.Record.ID}
		}
		r, err := w.append(one, record.StockTake, t.At, t)
		if err != nil {
			return Receipt{}, err
		}
		if first.Record.ID == "" {
			first = r
			continue
		}
		first.Followed = append(first.Followed, r.Record)
	}
	return first, nil
}

// papers returns the photographs of one scope of a list, those that come with the list filed with it, or refuses a scope
// that no list can speak for.
func (w VouchWork) papers(e Entry, x Listed, photographs []Photograph) (ids []string, err error) {
	if err := w.registered(x.Scope); err != nil {
		return nil, err
	}
	if why, err := unlistable(w.View, x.Scope, w.tx.Now); err != nil {
		return nil, err
	} else if why != "" {
		return nil, &fault.Error{
			Code: fault.Conflict, Message: fmt.Sprintf("stock-take of %s: %s", x.Scope, why),
			Hint: "leave it off the list; it is ready after a cycle on record",
		}
	}
	for _, id := range x.Papers {
		kept, err := w.tx.Record(id)
		if err != nil {
			return nil, err
		}
		if kept.Kind() != record.Attachment {
			return nil, invalid("record %s is %s, not a photograph", id, record.Called(kept.Kind()))
		}
		if err := w.recordOf(x.Scope, id); err != nil {
			return nil, err
		}
		if replaced, err := w.tx.Replaced(kept.Record); err != nil {
			return nil, err
		} else if replaced.Known() {
			return nil, invalid("photograph %s of %s was taken back or corrected: name the one that stands", id, x.Scope)
		}
		ids = append(ids, string(id))
	}
	for i, p := range photographs {
		a := dossier.Attachment{Scope: x.Scope, Kind: dossier.Photograph, Title: stockTitle, File: dossier.File{Media: p.Media}}
		if p.Media == dossier.PDF {
			a.Kind = dossier.Other
		}
		r, err := w.Attach(Entry{ID: ledger.DerivedID("paper", string(e.ID), x.Scope, strconv.Itoa(i)), By: e.By}, a, p.Content)
		if err != nil {
			return nil, err
		}
		ids = append(ids, string(r.Record.ID))
	}
	return ids, nil
}

// stockColumns are those of a file that lists the scopes of a stock-take.
var stockColumns = []table.Field{
	required(textColumn("scope", "asset tag")), required(textColumn("cabinet", "where it hangs, as the rule set calls it")),
	required(timeColumn("until", "when its storage ends, as its paper shows")), textColumn("paper", "record of a photograph that is filed with it already"),
}

// StockExample is such a file.
const StockExample = `scope,cabinet,until,paper
D-01,drying-cabinet,2026-01-08T07:00:00+01:00,
`

// ReadStock reads a file that lists the scopes of a stock-take.
func ReadStock(name string, content io.Reader, p table.Profile) (list []Listed, err error) {
	t, err := table.Open(name, content, p, stockColumns)
	if err != nil {
		return nil, refuse(err)
	}
	for r := newRow(t, stockColumns); t.Next(); {
		x := Listed{Scope: r.col["scope"].Text(), Cabinet: r.col["cabinet"].Text(), Until: r.col["until"].Time()}
		if paper := r.col["paper"].Text(); paper != "" {
			x.Papers = []ledger.ID{ledger.ID(paper)}
		}
		list = append(list, x)
	}
	return list, refuse(t.Err())
}
