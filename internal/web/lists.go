package web

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/turnaround"
	"rinsate/internal/present/words"
)

// scopeListsOf are where the lists of a scope's page are had as files.
type scopeLists struct {
	TripExports, FileExports, RecordExports exports
	// Search is where its records are looked through; empty for whoever may not.
	Search string
}

// The lists of a scope's page, as ?list= names them.
const (
	tripList = "turnarounds"
	fileList = "files"
)

func scopeListsOf(x *exchange, tag string) scopeLists {
	l := scopeLists{TripExports: x.exportsOf(tripList, access.Export), FileExports: x.exportsOf(fileList, access.Export), Search: x.searchHref("scope", tag)}
	if l.Search != "" && x.may(access.Export) { // the records of a scope are a search, of any length
		file := func(format string) string {
			return x.s.url("/records?" + url.Values{"scope": {tag}, "format": {format}}.Encode())
		}
		l.RecordExports = exports{CSV: file(csvFormat), XLSX: file(xlsxFormat)}
	}
	return l
}

// tripsFiled is how many turnarounds a file takes: as many as a dossier.
const tripsFiled = 400

// scopeFile answers with one of the lists of a scope's page.
func (s *Server) scopeFile(x *exchange, tag string, now unit.Instant) error {
	var l listing
	err := s.view(x.r.Context(), func(v desk.View) error {
		i, err := instrument(v, tag)
		if err != nil {
			return err
		}
		switch list := x.r.URL.Query().Get("list"); list {
		case tripList:
			before, err := pageBefore(x.r.URL.Query().Get("before"), now)
			if err != nil {
				return err
			}
			l, err = s.tripListing(v, i.Tag, before)
			return err
		case fileList:
			l, err = s.fileListing(v, i.Tag, now)
			return err
		default:
			return &pageError{status: http.StatusBadRequest, message: fmt.Sprintf("The page has no list %q.", list), hint: "Allowed are " + tripList + " and " + fileList + "."}
		}
	})
	if err != nil {
		return err
	}
	return x.file(l)
}

// tripListing lists the turnarounds of a scope that began before an instant, the newest first and as many as
// a file takes.
func (s *Server) tripListing(v desk.View, tag string, before unit.Instant) (listing, error) {
	l := listing{Name: tag + " turnarounds", Columns: columns("since", "followed", "ended", "gate at its end", "because", "used all the same", "attempts", "outcomes", "holds")}
	trips, err := v.Turnarounds(tag, before, tripsFiled)
	if err != nil {
		return l, err
	}
	clock := words.Dated(v.Zone())
	for _, t := range trips {
		line := s.tripLine(t, clock)
		outcomes := make([]string, len(line.Rounds))
		for i, r := range line.Rounds {
			outcomes[i] = r.Mark.Word
		}
		used := "no"
		if line.Wrong {
			used = "yes"
		}
		holds := 0
		for _, h := range line.Holds {
			if h.What == "held" {
				holds++
			}
		}
		l.Rows = append(l.Rows, []string{
			line.Since, line.Began, line.Ended, line.Mark.Word, strings.Join(line.Why, "; "), used, fmt.Sprint(len(line.Rounds)), strings.Join(outcomes, ", "), fmt.Sprint(holds),
		})
	}
	return l, nil
}

// fileListing lists the files of a scope that stand, the latest first.
func (s *Server) fileListing(v desk.View, tag string, now unit.Instant) (listing, error) {
	l := listing{Name: tag + " files", Columns: columns("title", "kind", "attached", "by", "type", "size", "SHA-256", "about", "record")}
	files, err := s.fileLines(v, tag, 0, now, words.Dated(v.Zone()))
	for _, f := range files {
		l.Rows = append(l.Rows, []string{f.Title, f.Kind, f.At, f.By, f.Media, f.Size, f.Digest, f.About, f.ID})
	}
	return l, err
}

// duePage lists what is due to be sampled.
type duePage struct {
	Lines   []due
	Exports exports
}

// dueList lists the scopes that are due to be sampled, to print or to take away.
func (s *Server) dueList(x *exchange) error {
	wanted, err := x.wantsFile()
	if err != nil {
		return err
	}
	o, err := s.overview(x.r.Context())
	if err != nil {
		return err
	}
	var page duePage
	now, zone := s.now(), s.desk.DB.Zone()
	for _, a := range o.board {
		if len(a.Due) > 0 && a.State != turnaround.Out { // what is away is sampled when it is back
			page.Lines = append(page.Lines, dueOf(a, s.scopeHref(a.Scope), now, zone))
		}
	}
	if wanted {
		return x.file(page.listing())
	}
	page.Exports = x.exports()
	return x.show(http.StatusOK, "due", false, page)
}

func (p duePage) listing() listing {
	l := listing{Name: "due to be sampled", Columns: columns("scope", "points", "why", "since", "keeps it from use")}
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
