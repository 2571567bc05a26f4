package web

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"strconv"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

// The names of the files beside an upload that hold what was told about its lines.
const (
	toldSuffix    = ".told"
	refusedSuffix = ".refused"
)

const (
	// problemsShown and linesShown are how many of them a page shows; the file has them all.
	problemsShown = 200
	linesShown    = 100
	// problemsKept bounds the memory that a hostile file takes.
	problemsKept = 100_000
)

// outcome is what came of reading a file.
type outcome struct {
	desk.Imported
	// Refused counts the lines that are wrong. One is enough for nothing to be stored.
	Refused int
	// Problems are the first problems and Lines the first of the other lines.
	Problems, Lines []lineTold
	// More counts problems that are in no list.
	More int
	// Failed says why the file could not be read at all; empty when it could.
	Failed string
}

// lineTold is what happens to a line.
type lineTold struct {
	Line  int
	State string
	// What is what the line is about, Column to Allowed what is wrong with it.
	What, Column, Value, Problem, Allowed string
}

// The words for what happens to a line.
const (
	lineNew     = "new"
	lineChanged = "changed"
	lineSame    = "same"
	lineRefused = "refused"
)

// toldColumns are the columns of the list of lines.
var toldColumns = []table.SheetColumn{
	{Name: "line", Number: true},
	{Name: "state"},
	{Name: "what"},
	{Name: "column"},
	{Name: "value"},
	{Name: "problem"},
	{Name: "allowed"},
}

func (l lineTold) cells() []string {
	line := ""
	if l.Line > 0 {
		line = strconv.Itoa(l.Line)
	}
	cells := []string{line, l.State, l.What, l.Column, l.Value, l.Problem, l.Allowed}
	for i, c := range cells { // a file's bytes may be anything
		cells[i] = strings.ReplaceAll(strings.ToValidUTF8(c, "\uFFFD"), "\x00", "")
	}
	return cells
}

// beginImport tries or stores a file in the background, unless that is under way or done already. second is who signs it
// too, where somebody does.
func (s *Server) beginImport(u *upload, by, second access.Actor, dry bool) {
	started := false
	u.change(func(st *state) {
		if st.stage == stageTrying || st.stage == stageStoring || st.stage == stageStored || !dry && st.stage != stageTried {
			return
		}
		started = true
		st.stage = map[bool]stage{true: stageTrying, false: stageStoring}[dry]
		u.read.Store(0)
	})
	if !started {
		return
	}
	s.imports.beside.Go(func() {
		o := s.readIn(s.imports.background, u, by, second, dry)
		u.change(func(st *state) {
			switch {
			case dry:
				st.stage, st.trial = stageTried, o
			case o.Failed != "" || o.Refused > 0:
				st.stage, st.trial = stageTried, o
			default:
				st.stage, st.result, st.ended = stageStored, o, unit.At(s.Clock())
			}
		})
		if u.now().stage == stageStored {
			os.Remove(u.path) //nolint:errcheck,gosec // the next start deletes what is left
		}
	})
}

// readIn reads a file, with dry without storing anything, and keeps what was told about its lines.
func (s *Server) readIn(ctx context.Context, u *upload, by, second access.Actor, dry bool) *outcome {
	o := new(outcome)
	err := o.read(ctx, s.Desk.As(by), second, u, dry)
	if err == nil {
		return o
	}
	if faults, ok := errors.AsType[*table.FileError](err); ok {
		if err = o.refuse(u, faults); err == nil {
			return o
		}
	}
	o.Failed = kit.Sentence(kit.StoreMessage(err))
	if _, known := errors.AsType[*fault.Error](err); !known {
		s.Log.ErrorContext(ctx, "a file could not be read in", slog.String("kind", string(u.kind)), slog.Any("error", err))
		o.Failed = kit.Sentence("the file could not be read in: " + err.Error())
	}
	return o
}

func (o *outcome) read(ctx context.Context, d desk.Acting, second access.Actor, u *upload, dry bool) (err error) {
	content, err := os.Open(u.path)
	if err != nil {
		return err
	}
	defer content.Close()             //nolint:errcheck // only read
	os.Remove(u.path + refusedSuffix) //nolint:errcheck,gosec // of an earlier trial
	spool, err := os.OpenFile(u.path+toldSuffix, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, spool.Close()) }()
	told := csv.NewWriter(spool)
	profile := u.now().profile
	profile.Limits.MaxErrors = problemsKept
	o.Imported, err = d.Import(ctx, desk.File{
		Kind: u.kind, Name: u.name, Second: second, Profile: profile, Content: table.Progress(content, u.read.Store),
		Tell: func(t desk.Told) {
			l := lineTold{Line: t.Line, State: lineSame, What: t.What}
			switch {
			case t.Changes:
				l.State = lineChanged
			case t.Fresh:
				l.State = lineNew
			}
			told.Write(l.cells()) //nolint:errcheck // Error below says so
			if len(o.Lines) < linesShown {
				o.Lines = append(o.Lines, l)
			}
		},
	}, dry)
	told.Flush()
	return errors.Join(err, told.Error())
}

// refuse keeps what is wrong with lines.
func (o *outcome) refuse(u *upload, faults *table.FileError) (err error) {
	spool, err := os.OpenFile(u.path+refusedSuffix, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, spool.Close()) }()
	told := csv.NewWriter(spool)
	lines := map[int]bool{}
	for _, fault := range faults.List {
		l := lineTold{State: lineRefused, Problem: fault.Error()}
		var cell *table.CellError
		var syntax *table.SyntaxError
		switch {
		case errors.As(fault, &cell):
			l.Line, l.Column, l.Value, l.Problem, l.Allowed = cell.Line, cell.Column, cell.Value, cell.Problem, strings.Join(cell.Allowed, ", ")
		case errors.As(fault, &syntax):
			l.Line, l.Problem = syntax.Line, syntax.Problem
		}
		lines[l.Line] = true
		told.Write(l.cells()) //nolint:errcheck // Error below says so
		if len(o.Problems) < problemsShown {
			o.Problems = append(o.Problems, l)
		}
	}
	o.Refused, o.More = len(lines)+faults.More, faults.More
	told.Flush()
	return told.Error()
}

// New counts the lines that take the place of nothing.
func (o *outcome) New() int { return o.Stored - o.Changed }

// done says how far something under way is, in words and as a share in percent.
func (u *upload) done() (words string, percent int) {
	read := u.read.Load()
	if u.size > 0 {
		percent = int(100 * read / u.size)
	}
	if percent >= 100 {
		return "The whole file is read; it is being finished.", 100
	}
	return fmt.Sprintf("%d percent of the file is read.", percent), percent
}
