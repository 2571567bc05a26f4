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
	"rinsate/internal/domain/access"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

const (
	// importMost is the largest file that is taken here.
	importMost = 32 << 20
	// importLimit bounds the form with a file and a profile.
	importLimit = importMost + 2*kit.FormLimit
	// importPatience is how long an upload may take over a slow line.
	importPatience = 5 * time.Minute
)

// mayImport says whether whoever asks may read a kind of file in.
func mayImport(x *kit.Exchange, kind desk.Kind) bool { return x.Can(desk.ImportOf(kind)) }

// adopts says whether reading a kind in is a signature.
func adopts(kind desk.Kind) bool { return desk.ImportOf(kind).Signed }

// importKindOf returns the kind in an address, for somebody who may read it in.
func importKindOf(x *kit.Exchange) (desk.Kind, error) {
	kind := desk.Kind(x.R.PathValue("kind"))
	if !slices.Contains(desk.Kinds, kind) {
		return kind, kit.NotHere("There is no such kind of file.")
	}
	if !mayImport(x, kind) {
		return kind, kit.Forbidden()
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

func (s importPages) importList(x *kit.Exchange) error {
	var p importListPage
	if err := s.View(x.R.Context(), func(v desk.View) error {
		for _, kind := range desk.Kinds {
			stock, err := v.Day().Stock(kind)
			if err != nil {
				return err
			}
			line := importKindLine{
				Kind:  kind,
				Href:  s.URL("/import/" + string(kind)),
				About: desk.About(kind),
				Done:  stock.Any,
				May:   mayImport(x, kind),
				Have:  "none yet",
			}
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
	return x.Show(http.StatusOK, "import", false, p)
}

// importFiles lists the files of whoever looks, of one kind or of all.
func (s importPages) importFiles(x *kit.Exchange, kind desk.Kind) []importFileLine {
	var lines []importFileLine
	for _, u := range s.imports.of(x.Who.Code) {
		if kind == "" || u.kind == kind {
			lines = append(
				lines,
				importFileLine{s.URL("/imports/" + u.id), u.name, string(u.kind), u.now().stage.String(), words.Short(u.at, s.Now(), s.Desk.DB.Zone())},
			)
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

func (s importPages) importKind(x *kit.Exchange) error {
	kind, err := importKindOf(x)
	if err != nil {
		return err
	}
	return s.importKindPage(x, http.StatusOK, kind, "")
}

func (s importPages) importKindPage(x *kit.Exchange, status int, kind desk.Kind, problem string) error {
	cells, err := desk.ExampleCells(kind)
	if err != nil {
		return err
	}
	p := importKindPage{
		Problem: problem, Kind: kind, About: desk.About(kind), Template: s.URL("/import/" + string(kind) + "/template.csv"), Example: desk.Example(kind),
		Files: s.importFiles(x, kind), Most: importMost >> 20, Code: x.Who.Code, Needs: whyNeeded(kind),
	}
	if i := slices.Index(desk.Kinds, kind); i+1 < len(desk.Kinds) && mayImport(x, desk.Kinds[i+1]) {
		p.Next = string(desk.Kinds[i+1])
	}
	for _, f := range desk.Columns(kind) {
		p.Columns = append(p.Columns, importColumn{f.Name, f.Kind.String(), f.Help, cells[f.Name], f.Allowed, f.Required})
	}
	return x.Show(status, "import-kind", false, p)
}

// whyNeeded says in words what desk.ImportOf asks for beyond the fleet.
func whyNeeded(kind desk.Kind) string {
	act := desk.ImportOf(kind)
	switch {
	case kind == desk.Levels:
		return "A level holds for its own meter system and kit and is never carried over from another. Reading it in adopts it: readings are judged by it " +
			"from then on. It is a signature."
	case act.Signed:
		return "Reading it in adopts what it holds: meters are judged by it from then on. It is a signature."
	case slices.Contains(act.Needs, access.VoidRecord):
		return "It records what others did, in their names: whoever reads it in answers for it."
	}
	return ""
}

// importTemplate answers with an empty file of a kind; one of levels may be filled in with a scale, one
// row for each sampling point.
func (s importPages) importTemplate(x *kit.Exchange) error {
	kind, err := importKindOf(x)
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
	if q := x.R.URL.Query(); kind == desk.Levels && q.Has("system") {
		rows = append(rows, desk.LevelTemplate(q.Get("system"), q.Get("kit"), q.Get("analyte"), q.Get("unit"))...)
	}
	for _, row := range rows {
		if err := w.Write(row...); err != nil {
			return &kit.PageError{Status: http.StatusBadRequest, Message: kit.Sentence(err.Error())}
		}
	}
	if err := w.Flush(); err != nil {
		return err
	}
	x.W.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": string(kind) + ".csv"}))
	x.Answer(http.StatusOK, "text/csv; charset=utf-8", b.Bytes())
	return nil
}

// importUpload takes a file of a kind, and a profile where there is one.
func (s importPages) importUpload(x *kit.Exchange) error {
	kind, err := importKindOf(x)
	if err != nil {
		return err
	}
	u, err := s.takeImport(x, kind)
	if err != nil {
		shown := x.Shown(err)
		if shown.Status >= http.StatusInternalServerError {
			return err
		}
		return s.importKindPage(x, shown.Status, kind, strings.TrimSpace(shown.Message+" "+shown.Hint))
	}
	return x.Redirect("/imports/" + url.PathEscape(u.id))
}

// takeImport reads the form with the file part by part, straight into the folder of uploads.
func (s importPages) takeImport(x *kit.Exchange, kind desk.Kind) (u *upload, err error) {
	late := time.Now().Add(importPatience) //nolint:forbidigo // a deadline of the connection, not of a record
	if err := http.NewResponseController(x.W).SetReadDeadline(late); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return nil, err
	}
	parts, err := x.R.MultipartReader()
	if err != nil {
		return nil, &kit.PageError{Status: http.StatusBadRequest, Message: "The form has no file.", Hint: "Choose one and send it again."}
	}
	var profile *table.Profile
	defer func() {
		if err != nil && u != nil {
			s.imports.discard(u) //nolint:errcheck // nothing goes on with it yet
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
			if u, err = s.imports.add(x.Who.Code, kind, path.Base(strings.ReplaceAll(part.FileName(), `\`, "/")), part); err != nil {
				return u, importUnreadable(err)
			}
		case part.FormName() == "profile":
			if profile, err = readImportProfile(part); err != nil {
				return u, err
			}
		}
	}
	if u == nil {
		return nil, &kit.PageError{Status: http.StatusBadRequest, Message: "Choose a file."}
	}
	if u.size > importMost {
		return u, importTooLarge()
	}
	s.describe(u, profile)
	return u, nil
}

func readImportProfile(part *multipart.Part) (*table.Profile, error) {
	p, err := table.ParseProfile(part.FileName(), io.LimitReader(part, kit.FormLimit+1))
	if err != nil {
		return nil, &kit.PageError{
			Status:  http.StatusBadRequest,
			Message: "The profile cannot be used: " + err.Error() + ".",
			Hint:    "Correct it, or leave it away and fill in the form that follows. Choose the file again as well.",
		}
	}
	return &p, nil
}

// importUnreadable says what is wrong with a form that cannot be read to its end.
func importUnreadable(err error) error {
	if _, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return importTooLarge()
	}
	if _, ok := errors.AsType[*kit.PageError](err); ok {
		return err
	}
	if errors.Is(err, io.ErrUnexpectedEOF) {
		return &kit.PageError{Status: http.StatusBadRequest, Message: "The file did not arrive whole.", Hint: "Send it again."}
	}
	return err
}

func importTooLarge() error {
	return &kit.PageError{
		Status: http.StatusRequestEntityTooLarge, Message: fmt.Sprintf("The file is larger than %d MiB.", importMost>>20),
		Hint: "Nothing was stored. Split it, or read it in with the command below.",
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
			st.problem = kit.Sentence(err.Error())
		case given != nil:
			st.notes = []string{"The file is read as your profile says."}
		default:
			guess := desk.Propose(u.kind, peeked, table.Profile{}, s.Desk.DB.Zone().String())
			st.profile, st.notes = guess.Profile, guess.Notes
		}
		if st.profile.Time.Zone == "" {
			st.profile.Time.Zone = s.Desk.DB.Zone().String()
		}
	})
}
