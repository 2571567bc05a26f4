package store

import (
	"database/sql"
	"fmt"
	"maps"
	"slices"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
	"rinsate/internal/record"
)

// Finding finds records by what they hold.
type Finding struct{ *Tx }

// Finding returns the search.
func (tx *Tx) Finding() Finding { return Finding{tx} }

// Query says which records are looked for. All of its conditions have to hold; an empty one is none.
type Query struct {
	// Terms are the values of facets; one that is empty is no condition.
	Terms []record.Term
	// From <= at < To bounds when a record happened; zero is no bound.
	From, To unit.Instant
	// ID is the beginning of an id.
	ID string
	// Before is the place in the ledger that the search goes down from, without it; zero begins at the end.
	Before int64
}

// mostIDs is how many records may begin like the id of a query.
const mostIDs = 4000

// Search calls visit for the records that a query describes, the last of the ledger first, until it
// returns false. However rare what is looked for is, it reads at most the index of what is asked about.
func (tx Finding) Search(q Query, visit func(Kept) (more bool, err error)) error {
	return tx.search(q, func(seq int64) (bool, error) {
		k, err := tx.kept(seq)
		if err != nil {
			return false, err
		}
		return visit(k)
	})
}

// Count returns how many records a query describes, at most so many; it reads none of them.
func (tx Finding) Count(q Query, most int) (n int, err error) {
	err = tx.search(q, func(int64) (bool, error) {
		n++
		return n < most, nil
	})
	return n, err
}

// SearchPage is Search for a page of a longer list, in one walk: it goes on after visit has returned false and
// returns how many records there are in all, those at and behind Before as well and at most so many.
func (tx Finding) SearchPage(q Query, most int, visit func(Kept) (more bool, err error)) (total int, err error) {
	before, visiting := q.Before, true
	q.Before = 0
	err = tx.search(q, func(seq int64) (bool, error) {
		total++
		if !visiting || before > 0 && seq >= before {
			return visiting || total < most, nil
		}
		k, err := tx.kept(seq)
		if err != nil {
			return false, err
		}
		visiting, err = visit(k)
		return visiting || total < most, err
	})
	return min(total, most), err
}

// search calls emit for the places of the records that a query describes, the last first.
func (tx Finding) search(q Query, emit func(seq int64) (more bool, err error)) error {
	size, err := tx.Size()
	if err != nil {
		return err
	}
	before := size
	if q.Before > 0 {
		before = min(before, q.Before)
	}
	ids, err := tx.beginning(q.ID)
	if err != nil {
		return err
	}
	more, err := tx.searchTail(q, ids, before, size, emit)
	if err != nil || !more {
		return err
	}
	return tx.searchBlocks(q, ids, min(before, sealed(size)), emit)
}

// terms lists what a record must be found by.
func (q Query) terms() (list []string) {
	for _, t := range q.Terms {
		if t.Value != "" {
			list = append(list, t.String())
		}
	}
	return list
}

// during says whether an instant lies in the bounds.
func (q Query) during(at unit.Instant) bool { return at >= q.From && (q.To == 0 || at < q.To) }

// beginning returns the places of the records whose id begins with a text; nil when the text is empty.
func (tx Finding) beginning(id string) (map[int64]bool, error) {
	if id == "" {
		return nil, nil //nolint:nilnil // no condition
	}
	if len(id) < 4 || strings.Trim(id, "0123456789abcdef-") != "" {
		return nil, &fault.Error{
			Code:    fault.Invalid,
			Message: fmt.Sprintf("%q is not a record id", id),
			Hint:    "give the id or its beginning, at least 4 characters of 0 to 9, a to f and -",
		}
	}
	places := map[int64]bool{}
	err := tx.s.Each(tx.ctx, `SELECT seq FROM record WHERE site = $1 AND id >= $2 AND id < $3 ORDER BY id LIMIT $4`, func(row Rows) error {
		var seq int64
		err := row.Scan(&seq)
		places[seq] = true
		return err
	}, tx.db.site.Code, id, id+"g", mostIDs+1)
	if err == nil && len(places) > mostIDs {
		err = &fault.Error{
			Code:    fault.Invalid,
			Message: fmt.Sprintf("more than %d records begin with %s", mostIDs, id),
			Hint:    "give more of the id; it begins with the time at which it was made",
		}
	}
	return places, err
}

// searchTail looks through the records that are in no block yet.
func (tx Finding) searchTail(q Query, ids map[int64]bool, before, size int64, emit func(int64) (bool, error)) (more bool, err error) {
	from := sealed(size)
	if before <= from {
		return true, nil
	}
	records, err := tx.db.tail.since(tx.Tx, from, size)
	if err != nil {
		return false, err
	}
	wanted := q.terms()
	terms := withStates(records)
	for i, f := range slices.Backward(records) {
		if f.Seq >= before || !q.during(f.At) || ids != nil && !ids[f.Seq] || !holds(terms[i], wanted) {
			continue
		}
		if more, err := emit(f.Seq); err != nil || !more {
			return false, err
		}
	}
	return true, nil
}

func holds(terms, wanted []string) bool {
	for _, w := range wanted {
		if !slices.Contains(terms, w) {
			return false
		}
	}
	return true
}

// searchBlocks looks through the blocks of the index below a place, the last first. A block is looked at
// only where every condition has a record in it.
func (tx Finding) searchBlocks(q Query, ids map[int64]bool, before int64, emit func(int64) (bool, error)) error {
	conditions, err := tx.conditions(q, ids)
	if err != nil {
		return err
	}
	bounded := q.From > 0 || q.To > 0
	for block := (before - 1) / blockSize; before > 0 && block >= 0; block-- {
		var m marks
		var ok bool
		if block, m, ok, err = meet(conditions, block); err != nil || !ok {
			return err
		}
		m.below(before - block*blockSize)
		if m == (marks{}) {
			continue
		}
		at := func(int64) unit.Instant { return q.From }
		if bounded {
			if at, err = tx.appending().happened(block); err != nil {
				return err
			}
		}
		for place := range m.backwards() {
			if bounded && !q.during(at(place)) {
				continue
			}
			if more, err := emit(block*blockSize + place); err != nil || !more {
				return err
			}
		}
	}
	return nil
}

// meet returns the last block up to a given one in which every condition has a record, with the records
// that all of them have there.
func meet(conditions []condition, block int64) (int64, marks, bool, error) {
	m := all()
	for i := 0; i < len(conditions); i++ {
		at, has, ok, err := conditions[i].upTo(block)
		if err != nil || !ok {
			return 0, m, false, err
		}
		if at < block {
			block, m, i = at, all(), -1 // ask all of them about that one
			continue
		}
		m.and(&has)
	}
	return block, m, true, nil
}

// condition is something that records are looked for by.
type condition interface {
	// upTo returns the last block up to a given one that has records of the condition, with these. Each call
	// asks about the same or an earlier block than the one before.
	upTo(block int64) (at int64, m marks, ok bool, err error)
}

func (tx Finding) conditions(q Query, ids map[int64]bool) (list []condition, err error) {
	if ids != nil {
		list = append(list, setOf(maps.Keys(ids)))
	}
	for _, term := range q.terms() {
		list = append(list, &postings{tx: tx.Tx, term: term, batch: firstBatch})
	}
	if q.From > 0 || q.To > 0 {
		days, err := tx.days(q)
		if err != nil {
			return nil, err
		}
		list = append(list, days)
	}
	return list, nil
}

// posting is the records of one block that have a term.
type posting struct {
	block int64
	marks []byte
}

// postings reads the blocks of a term in batches that grow, so that a common term costs little when few
// records are wanted and a rare meeting of two common ones takes few queries.
type postings struct {
	tx    *Tx
	term  string
	batch int
	read  []posting
	ended bool
}

const (
	firstBatch = 16
	lastBatch  = 512
)

func (p *postings) upTo(block int64) (at int64, m marks, ok bool, err error) {
	for {
		for len(p.read) > 0 && p.read[0].block > block {
			p.read = p.read[1:]
		}
		if len(p.read) > 0 {
			m, err = readMarks(p.read[0].marks)
			return p.read[0].block, m, true, err
		}
		if p.ended {
			return 0, m, false, nil
		}
		if err := p.more(block); err != nil {
			return 0, m, false, err
		}
	}
}

func (p *postings) more(block int64) error {
	p.read = make([]posting, 0, p.batch)
	err := p.tx.s.Each(
		p.tx.ctx,
		`SELECT block, marks FROM search_block WHERE site = $1 AND term = $2 AND block <= $3 ORDER BY block DESC LIMIT $4`,
		func(row Rows) error {
			var x posting
			err := row.Scan(&x.block, &x.marks)
			p.read = append(p.read, x)
			return err
		},
		p.tx.db.site.Code,
		p.term,
		block,
		p.batch,
	)
	p.ended = len(p.read) < p.batch
	p.batch = min(2*p.batch, lastBatch)
	return err
}

// set is a condition that is known as a whole.
type set struct {
	blocks []int64 // the last first
	marks  map[int64]*marks
}

// setOf returns the condition of being at one of some places.
func setOf(places func(func(int64) bool)) *set {
	s := &set{marks: map[int64]*marks{}}
	for seq := range places {
		s.at(seq / blockSize).set(seq % blockSize)
	}
	s.sort()
	return s
}

func (s *set) at(block int64) *marks {
	m := s.marks[block]
	if m == nil {
		m = new(marks)
		s.marks[block] = m
	}
	return m
}

func (s *set) sort() {
	s.blocks = slices.Sorted(maps.Keys(s.marks))
	slices.Reverse(s.blocks)
}

func (s *set) upTo(block int64) (at int64, m marks, ok bool, err error) {
	for len(s.blocks) > 0 && s.blocks[0] > block {
		s.blocks = s.blocks[1:]
	}
	if len(s.blocks) == 0 {
		return 0, m, false, nil
	}
	return s.blocks[0], *s.marks[s.blocks[0]], true, nil
}

// days returns the records of the days that the bounds of a query touch.
func (tx Finding) days(q Query) (*set, error) {
	first, last := record.DayTerm(q.From), record.LastDay
	if q.To > 0 {
		last = record.DayTerm(q.To - 1)
	}
	s := &set{marks: map[int64]*marks{}}
	err := tx.s.Each(tx.ctx, `SELECT block, marks FROM search_block WHERE site = $1 AND term >= $2 AND term <= $3`, func(row Rows) error {
		var block int64
		var raw sql.RawBytes
		if err := row.Scan(&block, &raw); err != nil {
			return err
		}
		m, err := readMarks(raw)
		s.at(block).or(&m)
		return err
	}, tx.db.site.Code, first, last)
	s.sort()
	return s, err
}

// kept returns the record at a place.
func (tx Finding) kept(seq int64) (Kept, error) {
	raw, err := tx.raw(seq)
	if err != nil {
		return Kept{}, err
	}
	r, err := decode(tx.Tx, raw)
	if err != nil {
		return Kept{}, err
	}
	k := Kept{Record: r}
	k.Replaced, err = tx.Replaced(r)
	return k, err
}
