package web

import (
	"encoding/json"
	"net/http"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/present/words"
	"rinsate/internal/record"
	"rinsate/internal/web/kit"
)

// recordPage is one record: what it says, what has become of it, what it has to do with, and its proof.
type recordPage struct {
	ID, Href, Type, Title, Words, At, Recorded, By, ByHref, Reason string
	Seq                                                            int64
	Late                                                           bool
	Scope, ScopeHref                                               string
	// Said is what was just done, Problem what was asked for and is not possible.
	Said, Problem string
	// Fate is what a later record did to it, empty when it stands; Struck says that it was voided or corrected.
	Fate   string
	Struck bool
	// Chain are all its versions, when there is more than this one; Holds is the one that counts now, empty
	// when none does.
	Chain []versionLine
	Holds string
	// Named are the records that it rests on, Naming those that rest on it.
	Named, Naming []relationLine
	Fields        []fieldGroup
	// File is what the record attaches; nil when it attaches nothing.
	File *fileLine
	Body string
	// Proof is for whoever may see proofs.
	Proof *proofPart
	// Patient is where the number of the patient of a use is revealed; empty for whoever may not.
	Patient string
	recordActs
	eraseActs
	// Everything is where all records with the same thing are, AllOf what that is; empty for whoever may not
	// search.
	Everything, AllOf string
}

// versionLine is one of the records that took each other's place.
type versionLine struct {
	recordLine
	// Did is what it did to the one before, with the reason; This says that it is the record of the page, Now
	// that it is the one that counts.
	Did, Reason string
	This, Now   bool
}

// relationLine is a record that has to do with this one.
type relationLine struct {
	recordLine
	How string
}

// recordSaid are the words for what was done, by the word in the address to which a form leads.
var recordSaid = map[string]string{
	"voided":    "The record is voided. It stays visible with the reason.",
	"corrected": "The correction is recorded. It takes the place of the record before it.",
	"finished":  "It is recorded.",
	"erased": "The text is erased for good, here and where the records around repeated it. That it was erased, by whom and why is a record of its own. " +
		"Not reached are backups, exports with texts, what was printed, and attached files: see to these too.",
}

func (s recordPages) record(x *kit.Exchange) error { return s.recordPage(x, http.StatusOK, kit.Sent{}) }

// recordPage shows a record, with a form that was sent and not accepted.
func (s recordPages) recordPage(x *kit.Exchange, status int, was kit.Sent) error {
	var page recordPage
	var line desk.Line
	err := s.View(x.R.Context(), func(v desk.View) (err error) {
		if line, err = v.Show(x.R.PathValue("id")); err != nil {
			return err
		}
		page, err = s.tell(x, v, line)
		return err
	})
	if err != nil {
		return err
	}
	page.Said = recordSaid[x.R.URL.Query().Get("done")]
	if x.May(access.SeeRecords) {
		if page.Proof, err = s.proofPart(x, line.ID); err != nil {
			return err
		}
		var field, value string
		if field, value, page.AllOf = aboutOf(line); value != "" {
			page.Everything = x.SearchHref(field, value)
		}
	}
	page.Patient = patientPages(s).patientHref(x, line)
	if page.recordActs, err = s.actsOn(x, line, was); err != nil {
		return err
	}
	if page.eraseActs, err = s.erasing(x, line, was); err != nil {
		return err
	}
	if page.Act == nil && page.Erase == nil && page.WhichText == nil {
		page.Problem = was.Form.Problem
	}
	return x.Show(status, "record", false, page)
}

// tell fills in what a record says and what it has to do with.
func (s recordPages) tell(x *kit.Exchange, v desk.View, l desk.Line) (page recordPage, err error) {
	clock := words.Dated(v.Zone())
	body, err := json.MarshalIndent(l.Body, "", "  ")
	if err != nil {
		return page, err
	}
	page = recordPage{
		ID:       l.ID,
		Href:     s.RecordHref(l.ID),
		Type:     s.Terms.Kind(l.Type),
		Title:    capital(s.Terms.Kind(l.Type)),
		Words:    s.Terms.Record(l.Type, l.Words()),
		At:       l.At.In(v.Zone()),
		Recorded: l.Recorded.In(v.Zone()),
		By:       l.By,
		ByHref:   x.SearchHref("person", l.By),
		Reason:   l.Reason,
		Seq:      l.Seq,
		Late:     l.Late,
		Scope:    l.Scope(),
		Body:     string(body),
	}
	if page.Scope != "" {
		page.ScopeHref = s.ScopeHref(page.Scope)
	}
	if page.Fields, err = tellFields(x, l.Body); err != nil {
		return page, err
	}
	versions, err := v.Records().Chain(l)
	if err != nil {
		return page, err
	}
	if err := s.chain(&page, v, l, versions, clock); err != nil {
		return page, err
	}
	named, err := v.Records().Named(l)
	if err != nil {
		return page, err
	}
	naming, err := v.Records().Naming(l, versions)
	if err != nil {
		return page, err
	}
	if page.Named, err = s.relationLines(v, named, clock); err != nil {
		return page, err
	}
	if page.Naming, err = s.relationLines(v, naming, clock); err != nil {
		return page, err
	}
	if l.Type != record.Attachment {
		return page, nil
	}
	a, err := v.Records().Attachment(l.ID)
	file := s.fileLine(a, clock)
	page.File = &file
	return page, err
}

// chain fills in the versions of a record.
func (s recordPages) chain(page *recordPage, v desk.View, l desk.Line, versions []desk.Version, clock words.Clock) error {
	for i, version := range versions {
		line, err := s.recordLine(v, version.Line, clock)
		if err != nil {
			return err
		}
		shown := versionLine{recordLine: line, Did: didWords(version.Did), Reason: version.Reason, This: version.ID == l.ID}
		if i == len(versions)-1 && version.Type != record.Void {
			shown.Now, page.Holds = true, version.ID
		}
		if shown.This {
			page.Fate, page.Struck = line.Fate, line.Struck
		}
		page.Chain = append(page.Chain, shown)
	}
	if len(versions) == 1 {
		page.Chain = nil
	}
	return nil
}

// didWords says what a version did to the one before it.
func didWords(did string) string {
	switch did {
	case record.StateVoided:
		return "voids it"
	case record.StateCorrected:
		return "corrects it"
	case record.StateCompleted:
		return "completes it"
	case desk.StateAnew:
		return "is recorded in its place"
	}
	return "the first version"
}

func (s recordPages) relationLines(v desk.View, all []desk.Relation, clock words.Clock) ([]relationLine, error) {
	lines := make([]relationLine, 0, len(all))
	for _, r := range all {
		line, err := s.recordLine(v, r.Line, clock)
		if err != nil {
			return nil, err
		}
		lines = append(lines, relationLine{line, r.How})
	}
	return lines, nil
}

// aboutOf returns what a record is about, as a field of the search, and in words.
func aboutOf(l desk.Line) (field, value, words string) {
	var body struct {
		Lot  string `json:"lot"`
		Code string `json:"code"`
	}
	if err := json.Unmarshal(l.Body, &body); err != nil {
		return "", "", ""
	}
	if l.Type == record.Lot {
		return "lot", body.Lot, "lot " + body.Lot
	}
	if l.Type == record.Meter {
		return "meter", body.Code, "meter " + body.Code
	}
	if l.Type == record.Person || l.Type == record.Access {
		return "person", body.Code, body.Code
	}
	return "scope", l.Scope(), l.Scope()
}
