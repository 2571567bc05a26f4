package web

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"net/url"
	"path"
	"slices"
	"strings"
	"time"

	"rinsate/internal/desk"
	"rinsate/internal/wire/table"
)

const (
	// importMost is the largest file that is taken here.
	importMost = 32 << 20
	// importLimit bounds the form with a file and a profile.
	importLimit = importMost + 2*formLimit
	// importPatience is how long an upload may take over a slow line.
	importPatience = 5 * time.Minute
)

// mayImport says whether whoever asks may read a kind of file in.
func (x *exchange) mayImport(kind desk.Kind) bool { return x.can(desk.ImportOf(kind)) }

// adopts says whether reading a kind in is a signature.
func adopts(kind desk.Kind) bool { return desk.ImportOf(kind).Signed }

// kindOf returns the kind in an address, for somebody who may read it in.
func (x *exchange) kindOf() (desk.Kind, error) {
	kind := desk.Kind(x.r.PathValue("kind"))
	if !slices.Contains(desk.Kinds, kind) {
		return kind, notHere("There is no such kind of file.")
	}
	if !x.mayImport(kind) {
		return kind, forbidden()
	}
	return kind, nil
}

// importListPage lists the kinds of files and what waits.
type importListPage struct {
	Kinds []importKindLine
	Files []importFileLine
}

type importKindLine struct {
	Kind  desk.Kind
	Href  string
	About string
	// Have says how much of it there is, Done that there is something.
	Have string
	Done bool
	// May says whether whoever looks may read it in.
	May bool
}

type importFileLine struct{ Href, Name, Kind, Stage, At string }

func (s *Server) importList(x *exchange) error {
	var p importListPage
	if err := s.view(x.r.Context(), func(v desk.View) error {
		for _, kind := range desk.Kinds {
			stock, err := v.Stock(kind)
			if err != nil {
				return err
			}
			line := importKindLine{Kind: kind, Href: s.url("/import/" + string(kind)), About: desk.About(kind), Done: stock.Any, May: x.mayImport(kind), Have: "none yet"}
			switch {
			case stock.Names > 0:
				line.Have = fmt.Sprintf("%d registered", stock.Names)
			case stock.Any:
				line.Have = "some recorded"
			}
			p.Kinds = append(p.Kinds, line)
		}
		return nil
	}); err != nil {
		return err
	}
	p.Files = s.importFiles(x, "")
	return x.show(http.StatusOK, "import", false, p)
}

// importFiles lists the files of whoever looks, of one kind or of all.
func (s *Server) importFiles(x *exchange, kind desk.Kind) []importFileLine {
	var lines []importFileLine
	for _, u := range s.imports.of(x.who.Code) {
		if kind == "" || u.kind == kind {
			lines = append(lines, importFileLine{s.url("/imports/" + u.id), u.name, string(u.kind), u.now().stage.String(), clockTime(u.at, s.now(), s.desk.DB.Zone())})
		}
	}
	return lines
}

// String says how far a file is.
func (s stage) String() string {
	switch s {
	case stageTrying:
		return "is being tried"
	case stageTried:
		return "tried, not stored"
	case stageStoring:
		return "is being stored"
	case stageStored:
		return "stored"
	case stageWaiting:
	}
	return "waits"
}

// importKindPage explains a kind of file and takes one.
type importKindPage struct {
	Problem  string
	Kind     desk.Kind
	About    string
	Columns  []importColumn
	Template string
	Example  string
	Files    []importFileLine
	Most     int
	Code     string
	// Next is the kind that comes after this one.
	Next string
	// Needs explains why not everybody who manages the fleet may read this kind in; empty where they may.
	Needs string
}

type importColumn struct {
	Name, Holds, Help, Example string
	Allowed                    []string
	Required                   bool
}

func (s *Server) importKind(x *exchange) error {
	kind, err := x.kindOf()
	if err != nil {
		return err
	}
	return s.importKindPage(x, http.StatusOK, kind, "")
}

func (s *Server) importKindPage(x *exchange, status int, kind desk.Kind, problem string) error {
	cells, err := desk.ExampleCells(kind)
	if err != nil {
		return err
	}
	p := importKindPage{
		Problem: problem, Kind: kind, About: desk.About(kind), Template: s.url("/import/" + string(kind) + "/template.csv"), Example: desk.Example(kind),
		Files: s.importFiles(x, kind), Most: importMost >> 20, Code: x.who.Code, Needs: whyNeeded(kind),
	}
	if i := slices.Index(desk.Kinds, kind); i+1 < len(desk.Kinds) && x.mayImport(desk.Kinds[i+1]) {
		p.Next = string(desk.Kinds[i+1])
	}
	for _, f := range desk.Columns(kind) {
		p.Columns = append(p.Columns, importColumn{f.Name, f.Kind.String(), f.Help, cells[f.Name], f.Allowed, f.Required})
	}
	return x.show(status, "import-kind", false, p)
}

// whyNeeded says in words what importNeeds asks for beyond the fleet.
func whyNeeded(kind desk.Kind) string {
	switch kind {
	case desk.Levels:
		return "A level holds for its own meter system and kit and is never carried over from another. Reading it in adopts it: readings are judged by it from then on. It is a signature."
	case desk.Targets:
		return "Reading it in adopts what it holds: meters are judged by it from then on. It is a signature."
	case desk.Uses, desk.Repairs, desk.Steps, desk.Readings, desk.Checks:
		return "It records what others did, in their names: whoever reads it in answers for it."
	case desk.Models, desk.Fleet, desk.People, desk.Meters, desk.Lots:
	}
	return ""
}

// importTemplate answers with an empty file of a kind; one of levels may be filled in with a scale, one
// row for each sampling point.
func (s *Server) importTemplate(x *exchange) error {
	kind, err := x.kindOf()
	if err != nil {
		return err
	}
	var b bytes.Buffer
	w := table.NewWriter(&b, table.WriterOptions{CRLF: true, BOM: true})
	fields := desk.Columns(kind)
	header := make([]string, len(fields))
	for i, f := range fields {
		header[i] = f.Name
	}
	rows := [][]string{header}
	if q := x.r.URL.Query(); kind == desk.Levels && q.Has("system") {
		rows = append(rows, desk.LevelTemplate(q.Get("system"), q.Get("kit"), q.Get("analyte"), q.Get("unit"))...)
	}
	for _, row := range rows {
		if err := w.Write(row...); err != nil {
			return &pageError{status: http.StatusBadRequest, message: sentence(err.Error())}
		}
	}
	if err := w.Flush(); err != nil {
		return err
	}
	x.w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": string(kind) + ".csv"}))
	x.answer(http.StatusOK, "text/csv; charset=utf-8", b.Bytes())
	return nil
}

// importUpload takes a file of a kind, and a profile where there is one.
func (s *Server) importUpload(x *exchange) error {
	kind, err := x.kindOf()
	if err != nil {
		return err
	}
	u, err := x.takeImport(kind)
	if err != nil {
		shown := x.shown(err)
		if shown.status >= http.StatusInternalServerError {
			return err
		}
		return s.importKindPage(x, shown.status, kind, strings.TrimSpace(shown.message+" "+shown.hint))
	}
	return x.redirect("/imports/" + url.PathEscape(u.id))
}

// takeImport reads the form with the file part by part, straight into the folder of uploads.
func (x *exchange) takeImport(kind desk.Kind) (u *upload, err error) {
	late := time.Now().Add(importPatience) //nolint:forbidigo // a deadline of the connection, not of a record
	if err := http.NewResponseController(x.w).SetReadDeadline(late); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return nil, err
	}
	parts, err := x.r.MultipartReader()
	if err != nil {
		return nil, &pageError{status: http.StatusBadRequest, message: "The form has no file.", hint: "Choose one and send it again."}
	}
	var profile *table.Profile
	defer func() {
		if err != nil && u != nil {
			x.s.imports.discard(u) //nolint:errcheck // nothing goes on with it yet
			u = nil
		}
	}()
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return u, importUnreadable(err)
		}
		switch {
		case part.FileName() == "": // no file was chosen, or a field that nobody asked for
		case part.FormName() == "file" && u == nil:
			if u, err = x.s.imports.add(x.who.Code, kind, path.Base(strings.ReplaceAll(part.FileName(), `\`, "/")), part); err != nil {
				return u, importUnreadable(err)
			}
		case part.FormName() == "profile":
			if profile, err = readImportProfile(part); err != nil {
				return u, err
			}
		}
	}
	if u == nil {
		return nil, &pageError{status: http.StatusBadRequest, message: "Choose a file."}
	}
	if u.size > importMost {
		return u, importTooLarge()
	}
	x.s.describe(u, profile)
	return u, nil
}

func readImportProfile(part *multipart.Part) (*table.Profile, error) {
	p, err := table.ParseProfile(part.FileName(), io.LimitReader(part, formLimit+1))
	if err != nil {
		return nil, &pageError{status: http.StatusBadRequest, message: "The profile cannot be used: " + err.Error() + ".", hint: "Correct it, or leave it away and fill in the form that follows. Choose the file again as well."}
	}
	return &p, nil
}

// importUnreadable says what is wrong with a form that cannot be read to its end.
func importUnreadable(err error) error {
	if _, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return importTooLarge()
	}
	if _, ok := errors.AsType[*pageError](err); ok {
		return err
	}
	if errors.Is(err, io.ErrUnexpectedEOF) {
		return &pageError{status: http.StatusBadRequest, message: "The file did not arrive whole.", hint: "Send it again."}
	}
	return err
}

func importTooLarge() error {
	return &pageError{
		status: http.StatusRequestEntityTooLarge, message: fmt.Sprintf("The file is larger than %d MiB.", importMost>>20),
		hint: "Nothing was stored. Split it, or read it in with the command below.",
	}
}

// describe says how a file seems to be written; a profile that was sent along counts before any guess.
func (s *Server) describe(u *upload, given *table.Profile) {
	var p table.Profile
	if given != nil {
		p = *given
	}
	peeked, err := u.look(p)
	u.change(func(st *state) {
		st.peeked, st.profile, st.problem = peeked, p, ""
		switch {
		case err != nil:
			st.problem = sentence(err.Error())
		case given != nil:
			st.notes = []string{"The file is read as your profile says."}
		default:
			guess := desk.Propose(u.kind, peeked, table.Profile{}, s.desk.DB.Zone().String())
			st.profile, st.notes = guess.Profile, guess.Notes
		}
		if st.profile.Time.Zone == "" {
			st.profile.Time.Zone = s.desk.DB.Zone().String()
		}
	})
}
