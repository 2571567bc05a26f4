package web

import (
	"encoding/csv"
	"errors"
	"io"
	"io/fs"
	"maps"
	"mime"
	"net/http"
	"os"
	"path"
	"slices"
	"strconv"
	"strings"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

// importFilePage shows a file on its way in.
type importFilePage struct {
	File, Kind, KindHref string
	// Problem is what is wrong with the form that was sent.
	Problem string
	// Running is what goes on: "tried" or "stored"; empty when nothing does.
	Running  string
	Words    string
	Percent  int
	Address  string
	Trial    *outcome
	Result   *outcome
	Lines    kit.Exports
	Profile  string
	Form     importForm
	Adopts   bool
	MaySign  bool
	Next     string
	NextHref string
	List     string
}

// refresh lets a browser without scripts ask again while something goes on.
func (p importFilePage) RefreshEvery() int {
	if p.Running != "" {
		return refreshEvery
	}
	return 0
}

// importForm is how a file is read, as a form.
type importForm struct {
	table.Profile
	Format  string
	Notes   []string
	Problem string
	// Open says that the form comes first: nothing was tried yet, or something was refused.
	Open      bool
	Headers   []string
	Rows      [][]string
	Columns   []mappedColumn
	Words     []mappedWords
	Encodings []string
	Formats   []string
}

// Delimiters and Groupings are what the form offers.
func (importForm) Delimiters() []string { return []string{"comma", "semicolon", "tab", "pipe"} }

func (importForm) Groupings() []string {
	return []string{"none", "point", "comma", "apostrophe", "space"}
}

// mappedColumn is a column of ours with the header that it is taken from.
type mappedColumn struct {
	importColumn
	Header string
	// Own says that the file has a header of this name.
	Own      bool
	Constant string
}

// mappedWords are words in a column of the file with ours.
type mappedWords struct {
	Column  string
	Allowed []string
	Pairs   []mappedWord
}

type mappedWord struct{ Theirs, Ours string }

// encodingsOffered are the encodings that a profile may name.
var encodingsOffered = []string{"utf-8", "windows-1252", "iso-8859-1", "ibm850", "utf-16le", "utf-16be"}

// fileOf returns the file in an address, for somebody who may read its kind in.
func (s importPages) fileOf(x *kit.Exchange) (*upload, error) {
	u, err := s.imports.find(x.Who.Code, x.R.PathValue("file"))
	if err != nil {
		return nil, err
	}
	if !mayImport(x, u.kind) { // the roles may have changed
		return nil, kit.Forbidden()
	}
	return u, nil
}

func (s importPages) importFile(x *kit.Exchange) error {
	u, err := s.fileOf(x)
	if err != nil {
		return err
	}
	return s.importFilePage(x, http.StatusOK, u, "")
}

func (s importPages) importFilePage(x *kit.Exchange, status int, u *upload, problem string) error {
	st := u.now()
	address := s.URL("/imports/" + u.id)
	p := importFilePage{
		File: u.name, Kind: string(u.kind), KindHref: s.URL("/import/" + string(u.kind)), Problem: problem, Address: address, List: s.URL("/import"),
		Trial: st.trial, Result: st.result, Profile: address + "/profile.yaml", Adopts: adopts(u.kind), MaySign: !x.Unsigned(),
	}
	p.Lines = kit.Exports{CSV: address + "/lines?format=" + kit.CSV, XLSX: address + "/lines?format=" + kit.XLSX}
	switch st.stage {
	case stageTrying:
		p.Running = "tried"
	case stageStoring:
		p.Running = "stored"
	case stageWaiting, stageTried, stageStored:
	}
	if p.Running != "" {
		p.Words, p.Percent = u.done()
	}
	if i := slices.Index(desk.Kinds, u.kind); i+1 < len(desk.Kinds) && mayImport(x, desk.Kinds[i+1]) {
		p.Next, p.NextHref = string(desk.Kinds[i+1]), s.URL("/import/"+string(desk.Kinds[i+1]))
	}
	p.Form = importFormOf(u.kind, st)
	return x.Show(status, "import-file", false, p)
}

// previewRows is how many rows of the file a page shows.
const previewRows = 4

func importFormOf(kind desk.Kind, st state) importForm {
	f := importForm{
		Profile: st.profile,
		Format:  strings.Join(st.profile.Time.Format, " | "),
		Notes:   st.notes,
		Problem: st.problem,
		Open: st.trial == nil || st.trial.Failed != "" ||
			st.trial.Refused > 0,
		Headers:   st.peeked.Headers,
		Rows:      st.peeked.Rows[:min(previewRows, len(st.peeked.Rows))],
		Encodings: encodingsOffered,
		Formats:   desk.TimeFormats,
	}
	cells, _ := desk.ExampleCells(kind) // a test holds that every kind has one
	for _, field := range desk.Columns(kind) {
		c := mappedColumn{importColumn: importColumn{field.Name, field.Kind.String(), field.Help, cells[field.Name], field.Allowed, field.Required}}
		c.Header, c.Constant = st.profile.Columns[field.Name], st.profile.Constant[field.Name]
		if own := slices.IndexFunc(f.Headers, func(h string) bool { return table.SameName(h, field.Name) }); own >= 0 {
			c.Own = true
			if c.Header == "" {
				c.Header = f.Headers[own]
			}
		}
		f.Columns = append(f.Columns, c)
		if words := wordsOf(field, st); len(words.Pairs) > 0 {
			f.Words = append(f.Words, words)
		}
	}
	return f
}

// mostWords is how many words of a column are mapped on the page; a profile holds as many as it likes.
const mostWords = 40

// wordsOf lists the words in the first rows of a file that mean nothing to a column which knows only some.
func wordsOf(field table.Field, st state) mappedWords {
	w := mappedWords{Column: field.Name, Allowed: field.Allowed}
	known := field.Allowed
	if field.Kind == table.KindBool {
		w.Allowed = []string{"yes", "no"}
		known = []string{"yes", "no", "true", "false", "1", "0", "y", "n"}
	}
	if len(w.Allowed) == 0 {
		return w
	}
	seen := map[string]bool{}
	add := func(theirs, ours string) {
		if key := strings.ToLower(theirs); !seen[key] && len(w.Pairs) < mostWords {
			seen[key] = true
			w.Pairs = append(w.Pairs, mappedWord{theirs, ours})
		}
	}
	for _, theirs := range slices.Sorted(maps.Keys(st.profile.Values[field.Name])) {
		add(theirs, st.profile.Values[field.Name][theirs])
	}
	for _, cell := range desk.Cells(st.peeked, st.profile, []table.Field{field}) {
		if !slices.ContainsFunc(known, func(k string) bool { return strings.EqualFold(k, cell) }) {
			add(cell, "")
		}
	}
	return w
}

// profileOf reads the form that says how a file is read.
func profileOf(x *kit.Exchange, kind desk.Kind, st state) table.Profile {
	form := func(name string) string { return strings.TrimSpace(x.R.PostFormValue(name)) }
	p := table.Profile{
		Delimiter: form("delimiter"),
		Encoding:  form("encoding"),
		Decimal:   form("decimal"),
		Grouping:  form("grouping"),
		Time: table.Clock{
			Zone:      form("zone"),
			Ambiguous: form("ambiguous"),
		},
		Columns:  map[string]string{},
		Constant: map[string]string{},
		Values:   map[string]map[string]string{},
	}
	p.SkipLines, _ = strconv.Atoi(form("skip")) // no number is no line
	for format := range strings.SplitSeq(form("format"), "|") {
		if format = strings.TrimSpace(format); format != "" {
			p.Time.Format = append(p.Time.Format, format)
		}
	}
	for _, field := range desk.Columns(kind) {
		header, constant := form("column."+field.Name), form("constant."+field.Name)
		switch {
		case header != "" && table.SameName(header, field.Name):
		case header != "":
			p.Columns[field.Name] = header
		case constant != "" && !slices.ContainsFunc(st.peeked.Headers, func(h string) bool { return table.SameName(h, field.Name) }):
			p.Constant[field.Name] = constant
		}
		theirs, ours := x.R.PostForm["theirs."+field.Name], x.R.PostForm["ours."+field.Name]
		for i := range min(len(theirs), len(ours)) {
			if ours[i] == "" {
				continue
			}
			if p.Values[field.Name] == nil {
				p.Values[field.Name] = map[string]string{}
			}
			p.Values[field.Name][theirs[i]] = ours[i]
		}
	}
	return p
}

// importAct does with a file what its form asks for: look at it again, try it, store it, or discard it.
func (s importPages) importAct(x *kit.Exchange) error {
	u, err := s.fileOf(x)
	if err != nil {
		return err
	}
	back := func() error { return x.Redirect("/imports/" + u.id) }
	st := u.now()
	switch act := x.R.PostFormValue("act"); act {
	case "look", "try":
		if st.stage != stageWaiting && st.stage != stageTried {
			return back()
		}
		p := profileOf(x, u.kind, st)
		peeked, err := u.look(p)
		var notes []string
		if act == "look" && err == nil { // what is tried is what the form says; what is guessed is shown first
			guess := desk.Propose(u.kind, peeked, p, s.Desk.DB.Zone().String())
			p, notes = guess.Profile, guess.Notes
		}
		u.change(func(st *state) {
			st.profile, st.notes, st.trial = p, notes, nil
			st.stage = stageWaiting
			if err == nil {
				st.peeked, st.problem = peeked, ""
			}
		})
		if err != nil {
			return s.importFilePage(x, http.StatusBadRequest, u, kit.Sentence(err.Error()))
		}
		if act == "try" {
			s.beginImport(u, x.Actor(), access.Actor{}, true)
		}
		return back()
	case "store":
		if adopts(u.kind) && st.stage == stageTried {
			if err := x.Sign(x.R.PostFormValue("secret")); err != nil {
				status, words, ok := kit.Refused(x, err)
				if !ok {
					return err
				}
				return s.importFilePage(x, status, u, words)
			}
		}
		var e desk.Entry
		if err := vouched(x, x.R.PostFormValue("second"), &e); err != nil {
			status, words, ok := kit.Refused(x, err)
			if !ok {
				return err
			}
			return s.importFilePage(x, status, u, words)
		}
		s.beginImport(u, x.Actor(), e.Second, false)
		return back()
	case "discard":
		if err := s.imports.discard(u); err != nil {
			return err
		}
		return x.Redirect("/import/" + string(u.kind))
	}
	return &kit.PageError{Status: http.StatusBadRequest, Message: "There is nothing to do."}
}

// importProfile answers with how the file is read, as the file that the command takes.
func (s importPages) importProfile(x *kit.Exchange) error {
	u, err := s.fileOf(x)
	if err != nil {
		return err
	}
	text, err := u.now().profile.Text()
	if err != nil {
		return err
	}
	x.W.Header().
		Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": strings.TrimSuffix(u.name, path.Ext(u.name)) + ".profile.yaml"}))
	x.Answer(http.StatusOK, "application/yaml; charset=utf-8", text)
	return nil
}

// importLines answers with what happens to every line, those that are refused first. It is about one's own
// file, so that it needs no permission to export.
func (s importPages) importLines(x *kit.Exchange) error {
	u, err := s.fileOf(x)
	if err != nil {
		return err
	}
	format := x.R.URL.Query().Get("format")
	if format == "" {
		format = kit.CSV
	}
	name := strings.TrimSuffix(u.name, path.Ext(u.name)) + "-lines"
	kind, ok := kit.ListTypes[format]
	if !ok {
		return kit.NoSuchFormat()
	}
	x.Named(name + "." + format)
	x.W.Header().Set("Content-Type", kind)
	return kit.WriteList(x.W, format, name, toldColumns, func(write func(...string) error) error {
		for _, suffix := range []string{refusedSuffix, toldSuffix} {
			if err := eachTold(u.path+suffix, write); err != nil {
				return err
			}
		}
		return nil
	})
}

// eachTold hands on what was told about lines; a file that is not there holds none.
func eachTold(name string, write func(...string) error) (err error) {
	f, err := os.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	r := csv.NewReader(f)
	r.ReuseRecord = true
	for {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if err := write(cells...); err != nil {
			return err
		}
	}
}
