package web

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
)

// scopeListsOf are where the lists of a scope's page are had as files.
type scopeLists struct {
	CycleExports, FileExports, RecordExports kit.Exports
	// Search is where its records are looked through; empty for whoever may not.
	Search string
}

// The lists of a scope's page, as ?list= names them.
const (
	cycleList = "cycles"
	fileList  = "files"
)

func scopeListsOf(x *kit.Exchange, tag string) scopeLists {
	l := scopeLists{CycleExports: x.ExportsOf(cycleList, access.Export), FileExports: x.ExportsOf(fileList, access.Export), Search: x.SearchHref("scope", tag)}
	if l.Search != "" && x.May(access.Export) { // the records of a scope are a search, of any length
		file := func(format string) string {
			return x.Shell.URL("/records?" + url.Values{"scope": {tag}, "format": {format}}.Encode())
		}
		l.RecordExports = kit.Exports{CSV: file(kit.CSV), XLSX: file(kit.XLSX)}
	}
	return l
}

// cyclesFiled is how many cycles a file takes: as many as a dossier.
const cyclesFiled = 400

// scopeFile answers with one of the lists of a scope's page.
func (s scopePages) scopeFile(x *kit.Exchange, tag string, now unit.Instant) error {
	var l kit.Listing
	err := s.View(x.R.Context(), func(v desk.View) error {
		i, err := tagged(v, tag)
		if err != nil {
			return err
		}
		switch list := x.R.URL.Query().Get("list"); list {
		case cycleList:
			before, err := pageBefore(x.R.URL.Query().Get("before"), now)
			if err != nil {
				return err
			}
			l, err = s.cycleListing(v, i.Tag, before)
			return err
		case fileList:
			l, err = s.fileListing(v, i.Tag, now)
			return err
		default:
			return &kit.PageError{
				Status:  http.StatusBadRequest,
				Message: fmt.Sprintf("The page has no list %q.", list),
				Hint:    "Allowed are " + cycleList + " and " + fileList + ".",
			}
		}
	})
	if err != nil {
		return err
	}
	return x.File(l)
}

// cycleListing lists the cycles of a scope that began before an instant, the newest first and as many as
// a file takes.
func (s scopePages) cycleListing(v desk.View, tag string, before unit.Instant) (kit.Listing, error) {
	l := kit.Listing{
		Name:    tag + " cycles",
		Columns: kit.Columns("since", "followed", "ended", "release check at its end", "because", "used all the same", "cleanings", "outcomes", "holds"),
	}
	cycles, err := v.Records().Cycles(tag, before, cyclesFiled)
	if err != nil {
		return l, err
	}
	clock := words.Dated(v.Zone())
	for _, t := range cycles {
		line := s.cycleLine(t, clock)
		outcomes := make([]string, len(line.Verifications))
		for i, r := range line.Verifications {
			outcomes[i] = r.Mark.Word
		}
		used := "no"
		if line.Wrong {
			used = "yes"
		}
		holds := 0
		for _, h := range line.Holds {
			if h.What == holdPlaced {
				holds++
			}
		}
		l.Rows = append(l.Rows, []string{
			line.Since,
			line.Began,
			line.Ended,
			line.Mark.Word,
			strings.Join(line.Why, "; "),
			used,
			fmt.Sprint(len(line.Verifications)),
			strings.Join(outcomes, ", "),
			fmt.Sprint(holds),
		})
	}
	return l, nil
}

// fileListing lists the files of a scope that stand, the latest first.
func (s scopePages) fileListing(v desk.View, tag string, now unit.Instant) (kit.Listing, error) {
	l := kit.Listing{Name: tag + " files", Columns: kit.Columns("title", "kind", "attached", "by", "type", "size", "SHA-256", "about", "record")}
	files, err := s.fileLines(v, tag, 0, now, words.Dated(v.Zone()))
	for _, f := range files {
		l.Rows = append(l.Rows, []string{f.Title, f.Kind, f.At, f.By, f.Media, f.Size, f.Digest, f.About, f.ID})
	}
	return l, err
}

// duePage lists what is due to be sampled.
type duePage struct {
	Lines   []due
	Exports kit.Exports
}

// dueList lists the scopes that are due to be sampled, to print or to take away.
func (s scopePages) dueList(x *kit.Exchange) error {
	wanted, err := x.WantsFile()
	if err != nil {
		return err
	}
	o, err := s.overview(x.R.Context())
	if err != nil {
		return err
	}
	var page duePage
	clock := words.Seen(s.Now(), s.Desk.DB.Zone())
	if wanted {
		clock = words.Dated(s.Desk.DB.Zone())
	}
	for _, a := range o.board {
		if len(a.Due) > 0 && a.State != reprocessing.OutOfService { // what is away is sampled when it is back
			page.Lines = append(page.Lines, dueOf(a, s.ScopeHref(a.Scope), clock))
		}
	}
	if wanted {
		return x.File(page.listing())
	}
	page.Exports = x.Exports()
	return x.Show(http.StatusOK, "due", false, page)
}

func (p duePage) listing() kit.Listing {
	l := kit.Listing{Name: "due to be sampled", Columns: kit.Columns("scope", "points", "why", "since", "keeps it from use")}
	for _, d := range p.Lines {
		blocks := "no"
		if d.Blocks {
			blocks = "yes"
		}
		for _, r := range d.Reasons {
			l.Rows = append(l.Rows, []string{d.Tag, d.Points, r.Why, r.Since, blocks})
		}
	}
	return l
}
