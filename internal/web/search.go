package web

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/present/words"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

// searchPage lists the records that are looked for.
type searchPage struct {
	// Typed is what was asked, by the name of the field; Problem is what is wrong with it.
	Typed   map[string]string
	Problem string
	desk.Filing
	// Types are the kinds of records with what people call them.
	Types    []fateWord
	Outcomes []string
	States   []fateWord
	// Asked are the conditions in words.
	Asked []string
	// Total is how many records there are like that, in words; Lines are those of this page.
	Total string
	Lines []recordLine
	// Older and Newest are the pages behind this one and before it, Long the same with many lines, for paper;
	// empty where there is none.
	Older, Newest, Long string
	Exports             kit.Exports
	// TooMany says that a file cannot hold them all.
	TooMany bool
	Most    string
}

// recordLine is one record of a list.
type recordLine struct {
	Seq                                              int64
	At, Type, Scope, ScopeHref, What, By, Fate, Href string
	Late                                             bool
	// Struck says that it was voided or corrected.
	Struck bool
}

// fateWord is a value to choose with its words.
type fateWord struct{ State, Words string }

// Lengths of the lists of records.
const (
	searchShown = 50
	searchLong  = 500
)

// filing bounds files of records: how many one takes, and how many of them are read in one transaction.
type filing struct{ most, batch int }

// facetFields are the fields of the form that are a facet.
var facetFields = []struct {
	name  string
	facet record.Facet
	words string
}{
	{"scope", record.ByScope, "scope "},
	{"person", record.ByPerson, "person "},
	{"lot", record.ByLot, "lot "},
	{"meter", record.ByMeter, "meter "},
	{"kit", record.ByKit, "kit "},
	{"type", record.ByType, "type "},
	{"outcome", record.ByOutcome, "outcome "},
	{"state", record.ByState, ""},
}

// fateWords are the words for what later records did to a record.
func fateWords(did string) string {
	switch did {
	case record.StateChanged:
		return "voided or corrected"
	case record.StateCompleted:
		return "completed or decided again"
	}
	return did
}

// shownValue is what people call the value of a facet.
func shownValue(t words.Terms, facet record.Facet, v string) string {
	if facet == record.ByType {
		return t.Kind(record.Kind(v))
	}
	if facet == record.ByState {
		return fateWords(v)
	}
	return v
}

// fateOf is fateWords for one record.
func fateOf(typ record.Kind, did string) string {
	switch {
	case did == record.StateCompleted && typ == record.Verification:
		return "decided again"
	case did == record.StateCompleted:
		return "completed by a later record"
	}
	return fateWords(did)
}

// kindNames lists the kinds of records in the order of the alphabet.
func kindNames() []string {
	names := make([]string, len(record.Kinds))
	for i, kind := range record.Kinds {
		names[i] = string(kind)
	}
	slices.Sort(names)
	return names
}

// searchRecords lists the records that are asked for, or hands them out as a file.
func (s recordPages) searchRecords(x *kit.Exchange) error {
	page := searchPage{Typed: map[string]string{}, Outcomes: record.Outcomes, Most: thousands(s.filing.most)}
	for _, kind := range kindNames() {
		page.Types = append(page.Types, fateWord{kind, s.Terms.Kind(record.Kind(kind))})
	}
	for _, state := range record.States {
		page.States = append(page.States, fateWord{state, fateWords(state)})
	}
	wanted, err := x.WantsFile()
	if err != nil {
		return err
	}
	q, err := s.query(x, &page)
	if err == nil && wanted {
		return s.exportRecords(x, q)
	}
	if err == nil {
		err = s.View(x.R.Context(), func(v desk.View) error { return s.find(x, &page, v, q) })
	}
	status := http.StatusOK
	if err != nil {
		var ok bool
		if status, page.Problem, ok = kit.Refused(x, err); !ok {
			return err
		}
	}
	if err := s.View(x.R.Context(), func(v desk.View) (err error) {
		page.Filing, err = v.Records().Filing()
		return err
	}); err != nil {
		return err
	}
	return x.Show(status, "records", false, page)
}

// query reads what is asked from the address and puts it into words.
func (s recordPages) query(x *kit.Exchange, page *searchPage) (store.Query, error) {
	q := store.Query{}
	typed := func(name string) string {
		v := strings.TrimSpace(x.R.URL.Query().Get(name))
		page.Typed[name] = v
		return v
	}
	for _, f := range facetFields {
		v := typed(f.name)
		if v == "" {
			continue
		}
		q.Terms = append(q.Terms, f.facet.Is(v))
		page.Asked = append(page.Asked, f.words+shownValue(s.Terms, f.facet, v))
	}
	if typed("late") != "" {
		q.Terms = append(q.Terms, record.ByLate.Is(record.LateEntry))
		page.Asked = append(page.Asked, "entered late")
	}
	if q.ID = strings.ToLower(typed("id")); q.ID != "" {
		page.Asked = append(page.Asked, "number "+q.ID+"…")
	}
	from, to, before := typed("from"), typed("to"), x.R.URL.Query().Get("before")
	for _, allowed := range []struct {
		name  string
		words []string
	}{{"type", kindNames()}, {"outcome", page.Outcomes}, {"state", record.States}} {
		if v := page.Typed[allowed.name]; v != "" && !slices.Contains(allowed.words, v) {
			return q, &kit.PageError{
				Status:  http.StatusBadRequest,
				Message: fmt.Sprintf("No record has the %s %q.", allowed.name, v),
				Hint:    "Choose one of the list.",
			}
		}
	}
	var err error
	for _, bound := range []struct {
		name, typed string
		at          *unit.Instant
	}{{"from", from, &q.From}, {"to", to, &q.To}} {
		if bound.typed == "" {
			continue
		}
		page.Typed[bound.name] = "" // a field for times cannot show what is none
		if *bound.at, err = s.day(bound.typed); err != nil {
			return q, err
		}
		page.Typed[bound.name] = bound.at.Time().In(s.Desk.DB.Zone()).Format(kit.FormTime)
		words := map[string]string{"from": "from ", "to": "before "}[bound.name]
		page.Asked = append(page.Asked, words+shownTime(page.Typed[bound.name]))
	}
	if q.From > 0 && q.To > 0 && q.To <= q.From {
		return q, &kit.PageError{Status: http.StatusBadRequest, Message: "The end lies before the beginning.", Hint: "Exchange the two times."}
	}
	if before != "" {
		if q.Before, err = strconv.ParseInt(before, 10, 64); err != nil || q.Before < 1 {
			return q, &kit.PageError{Status: http.StatusBadRequest, Message: "There is no such page of records.", Hint: "Begin with the newest."}
		}
	}
	return q, nil
}

func shownTime(typed string) string { return strings.Replace(typed, "T", " ", 1) }

// day reads a date, or a date and a time, of the facility's zone.
func (s recordPages) day(text string) (unit.Instant, error) {
	if t, err := time.ParseInLocation(time.DateOnly, text, s.Desk.DB.Zone()); err == nil {
		return unit.At(t), nil
	}
	return s.Instant(text)
}

// find fills in the records of a page.
func (s recordPages) find(x *kit.Exchange, page *searchPage, v desk.View, q store.Query) error {
	most := searchShown
	if x.R.URL.Query().Has("long") {
		most = searchLong
	}
	clock := words.Dated(v.Zone())
	var last int64
	total, err := v.Records().SearchPage(q, s.filing.most+1, func(l desk.Line) (bool, error) {
		if len(page.Lines) == most {
			page.Older = x.With("before", strconv.FormatInt(last, 10))
			return false, nil
		}
		line, err := s.recordLine(v, l, clock)
		page.Lines, last = append(page.Lines, line), l.Seq
		return true, err
	})
	if err != nil {
		return err
	}
	switch page.TooMany = total > s.filing.most; {
	case page.TooMany:
		page.Total = "More than " + thousands(s.filing.most) + " records"
	case total == 1:
		page.Total = "1 record"
	default:
		page.Total = thousands(total) + " records"
	}
	if total > 0 && !page.TooMany {
		page.Exports = x.Exports()
	}
	if q.Before > 0 {
		page.Newest = x.With("before", "")
	}
	if page.Older != "" && most == searchShown {
		page.Long = x.With("long", "yes")
	}
	return nil
}

func (s recordPages) recordLine(v desk.View, l desk.Line, clock words.Clock) (recordLine, error) {
	did, err := v.Records().Fate(l)
	line := recordLine{
		Seq:    l.Seq,
		At:     clock(l.At),
		Type:   s.Terms.Kind(l.Type),
		Scope:  l.Scope(),
		What:   s.Terms.Record(l.Type, l.Words()),
		By:     l.By,
		Late:   l.Late,
		Href:   s.RecordHref(l.ID),
		Fate:   fateOf(l.Type, did),
		Struck: did == record.StateVoided || did == record.StateCorrected,
	}
	if line.Scope != "" {
		line.ScopeHref = s.ScopeHref(line.Scope)
	}
	return line, err
}

// thousands writes a number with its thousands apart.
func thousands(n int) string {
	text := strconv.Itoa(n)
	for i := len(text) - 3; i > 0; i -= 3 {
		text = text[:i] + "," + text[i:]
	}
	return text
}

// recordColumns are those of a file of records.
var recordColumns = []table.SheetColumn{
	{Name: "number", Number: true},
	{Name: "happened"},
	{Name: "entered"},
	{Name: "late"},
	{Name: "type"},
	{Name: "scope"},
	{Name: "what"},
	{Name: "person"},
	{Name: "reason"},
	{Name: "replaced"},
	{Name: "takes the place of"},
	{Name: "id"},
}

// exportRecords hands the records out as a file, a batch in each transaction, so that neither memory nor
// the ledger is held while a browser takes it.
func (s recordPages) exportRecords(x *kit.Exchange, q store.Query) error {
	q.Before = 0
	var total int
	if err := s.View(x.R.Context(), func(v desk.View) (err error) {
		total, err = v.Records().Count(q, s.filing.most+1)
		return err
	}); err != nil {
		return err
	}
	if total > s.filing.most {
		return &kit.PageError{
			Status:  http.StatusBadRequest,
			Message: "There are more than " + thousands(s.filing.most) + " records like that, which is the most that a file takes.",
			Hint:    "Narrow the search, such as to a year, and take several files.",
		}
	}
	format := x.R.URL.Query().Get("format")
	to := x.Stream(kit.ListTypes[format], "records."+format)
	return to.End(kit.WriteList(to, format, "records", recordColumns, func(write func(...string) error) error {
		for range s.filing.most/s.filing.batch + 1 {
			n := 0
			err := s.View(x.R.Context(), func(v desk.View) error {
				return v.Records().Search(q, func(l desk.Line) (bool, error) {
					n++
					q.Before = l.Seq
					return n < s.filing.batch, write(recordCells(s.Terms, l, v.Zone())...)
				})
			})
			if err != nil || n < s.filing.batch || q.Before == 0 {
				return err
			}
		}
		return nil
	}))
}

func recordCells(t words.Terms, l desk.Line, zone *time.Location) []string {
	late, replaced := "", ""
	if l.Late {
		late = "late"
	}
	if l.Replaced.Known() {
		replaced = l.Replaced.In(zone)
	}
	return []string{
		strconv.FormatInt(
			l.Seq,
			10,
		),
		l.At.In(zone),
		l.Recorded.In(zone),
		late,
		string(l.Type),
		l.Scope(),
		t.Record(l.Type, l.Words()),
		l.By,
		l.Reason,
		replaced,
		l.Corrects,
		l.ID,
	}
}
