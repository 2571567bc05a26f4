package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/png"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/demo"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite"
)

// recorder makes a record.
type recorder struct {
	today                           time.Time
	cycles, instants, most          int
	seed                            uint64
	like                            []likeness
	talk                            io.Writer
	out                             *folder
	begin                           unit.Instant
	stable                          *stable
	latest                          map[string]string // the latest record of each kind
	kept                            map[string]int    // how often each line was run
	temporary, data, pages, scratch string
}

// record builds the hospital, asks everything and writes it down. Pages and commands have a copy of the
// data each, so that both can be asked at once and what commands write shows on no page.
func (r *recorder) record(ctx context.Context) (err error) {
	if r.temporary, err = os.MkdirTemp("", "snapshot-"); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(r.temporary)) }()
	r.data, r.pages, r.scratch = filepath.Join(r.temporary, "data"), filepath.Join(r.temporary, "pages"), filepath.Join(r.temporary, "files")
	summary, err := demo.Build(ctx, r.data, demo.Options{Today: r.today, Seed: r.seed, Cycles: r.cycles})
	if err != nil {
		return err
	}
	r.begin, r.kept = summary.First, map[string]int{}
	fmt.Fprintf(r.talk, "built: %d cycles, %d records\n", summary.Cycles, summary.Records)
	if err := r.open(ctx, r.data, func(d *desk.Desk) error {
		return demo.AddAccounts(ctx, identity.NewDoor(d.DB, access.Standard))
	}); err != nil {
		return err
	}
	if err := r.prepare(ctx); err != nil {
		return err
	}
	text, err := json.Marshal(summary)
	if err != nil {
		return err
	}
	if err := r.write("built summary", string(text)); err != nil {
		return err
	}
	if err := copyFolder(r.pages, r.data); err != nil {
		return err
	}
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var both sync.WaitGroup
	both.Go(func() {
		if err := r.runCommands(ctx); err != nil {
			cancel(err)
		}
	})
	both.Go(func() {
		if err := r.open(ctx, r.pages, func(d *desk.Desk) error {
			if err := r.askRelease(ctx, d); err != nil {
				return err
			}
			return r.readPages(ctx, d)
		}); err != nil {
			cancel(err)
		}
	})
	both.Wait()
	if err := context.Cause(ctx); err != nil {
		return err
	}
	fmt.Fprintf(r.talk, "%d entries, %d MB of text, in %s\n", len(r.out.keys), r.out.bytes>>20, r.out.dir)
	return nil
}

// prepare adds to the hospital what it has none of, and gives names to what is random in it.
func (r *recorder) prepare(ctx context.Context) error {
	if err := os.Mkdir(r.scratch, 0o700); err != nil {
		return err
	}
	var picture bytes.Buffer
	if err := png.Encode(&picture, image.NewGray(image.Rect(0, 0, 8, 8))); err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(r.scratch, "picture.png"), picture.Bytes(), 0o600); err != nil {
		return err
	}
	signals, err := r.listSignals(ctx)
	if err != nil {
		return err
	}
	r.latest = map[string]string{signalKind: signals[0].ID}
	done, err := r.furnish(ctx)
	if err != nil {
		return err
	}
	if err := r.open(ctx, r.data, func(d *desk.Desk) error { return r.know(ctx, d) }); err != nil {
		return err
	}
	r.nameSignals(signals)
	for line, got := range done {
		if err := r.keep("command", line, got); err != nil {
			return err
		}
	}
	return nil
}

// clock is the time at which everything is asked.
func (r *recorder) clock() time.Time { return r.today }

// open opens a data folder.
func (r *recorder) open(ctx context.Context, dir string, work func(*desk.Desk) error) (err error) {
	db, err := sqlite.Folder(dir).Open(ctx, r.clock)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }() //nolint:contextcheck // a ledger is closed properly although nobody waits any more
	return work(desk.New(db))
}

// know gives every record a name, and remembers the latest of each kind.
func (r *recorder) know(ctx context.Context, d *desk.Desk) error {
	var records []named
	people := map[string]string{}
	err := d.View(ctx, func(v desk.View) error {
		if err := v.Records().Search(store.Query{}, func(l desk.Line) (bool, error) {
			records = append(records, named{l.ID, l.At.Time()})
			if r.latest[string(l.Type)] == "" && l.Replaced == 0 {
				r.latest[string(l.Type)] = l.ID
			}
			people[l.By] = ""
			return true, nil
		}); err != nil {
			return err
		}
		hidden, err := v.Records().Disguise(nil)
		for code := range people {
			people[code] = hidden.Of(code)
		}
		return err
	})
	slices.Reverse(records) // the search begins at the end
	r.stable = newStable(records, r.temporary, "‹temporary›", r.out.dir, "‹out›")
	for code, label := range people {
		r.stable.people[label] = "person ‹" + code + "›"
	}
	return err
}

// signalKind is what stands for the id of a signal, which is no record, in commands.txt and addresses.txt.
const signalKind = "signal"

// madeSignal is what is read of the list of signals.
type madeSignal struct {
	ID     string `json:"id"`
	Series struct {
		Scope string `json:"scope"`
		Point string `json:"point"`
	} `json:"series"`
}

// listSignals returns the signals of the whole time.
func (r *recorder) listSignals(ctx context.Context) ([]madeSignal, error) {
	ran := r.run(ctx, "", "signals", "--since", r.begin.Time().Format(time.RFC3339), "--json")
	var list struct {
		Signals []madeSignal `json:"signals"`
	}
	if err := json.Unmarshal([]byte(ran.out), &list); err != nil {
		return nil, fmt.Errorf("the list of signals: %w\n%s", err, ran.err)
	}
	if len(list.Signals) == 0 {
		return nil, errors.New("the hospital has no signals: its past is too short, or the list is not understood")
	}
	return list.Signals, nil
}

// nameSignals gives signals names.
func (r *recorder) nameSignals(signals []madeSignal) {
	r.latest[signalKind] = signals[0].ID // records of this kind say what people did about one
	seen := map[string]int{}
	for _, a := range signals {
		name := "signal-" + a.Series.Scope + "-" + a.Series.Point
		seen[name]++
		r.stable.name(a.ID, fmt.Sprintf("%s-%d", name, seen[name]))
	}
}

// write keeps an entry, with all that is random made stable and JSON in order.
func (r *recorder) write(key, body string) error {
	body = r.stable.text(body)
	if tidy, ok := tidyJSON(body, unchanged); ok {
		body = tidy
	}
	return r.out.write(r.stable.text(key), body)
}

func unchanged(text string) string { return text }

// release is what was asked about a scope, and the answer.
type release struct {
	At     string `json:"asked_at"`
	Known  string `json:"as_known_at,omitempty"`
	Answer any    `json:"answer,omitempty"`
	Error  string `json:"error,omitempty"`
}

// askRelease asks whether scopes may be used, at instants spread over the whole time. Every fourth time the
// question is what somebody could have known earlier than now.
func (r *recorder) askRelease(ctx context.Context, d *desk.Desk) error {
	random := rand.New(rand.NewPCG(1, 2)) //nolint:gosec // the same instants each time
	answers := map[string][]release{}
	var tags []string
	err := d.View(ctx, func(v desk.View) error {
		fleet, err := v.Registry().Instruments()
		if err != nil {
			return err
		}
		for _, i := range fleet {
			tags = append(tags, i.Tag)
		}
		slices.Sort(tags)
		span := float64(v.Now() - r.begin)
		for i := range r.instants {
			tag := tags[i%len(tags)]
			at := r.begin + unit.Instant(span*(float64(i)+random.Float64())/float64(r.instants))
			known, asked := v.Now(), release{At: at.In(v.Zone())}
			if i/len(tags)%4 == 3 {
				// From a day before the instant, when nothing of it was known, to now.
				earliest := max(r.begin, at.Add(-24*time.Hour))
				known = earliest + unit.Instant(random.Float64()*float64(v.Now()-earliest))
				asked.Known = known.In(v.Zone())
			}
			answer, err := v.Release(tag, at, known)
			if err != nil {
				asked.Error = err.Error()
			} else {
				asked.Answer = answer
			}
			answers[tag] = append(answers[tag], asked)
		}
		return nil
	})
	if err != nil {
		return err
	}
	for _, tag := range tags {
		text, err := json.Marshal(answers[tag])
		if err != nil {
			return err
		}
		if err := r.write("release "+tag, string(text)); err != nil {
			return err
		}
	}
	fmt.Fprintf(r.talk, "release: %d scope-instants of %d scopes\n", r.instants, len(tags))
	return nil
}

// fill puts what is known into a line of commands.txt or addresses.txt: {KIND} is the latest record of a
// kind, {files} a folder to write into.
func (r *recorder) fill(line string) (string, error) {
	for kind, id := range r.latest {
		line = strings.ReplaceAll(line, "{"+kind+"}", id)
	}
	line = strings.ReplaceAll(line, "{files}", r.scratch)
	if open := strings.Index(line, "{"); open >= 0 {
		return "", fmt.Errorf("%q: the hospital has no such record", line[open:])
	}
	return line, nil
}

// copyFolder copies the files of a folder into a new one.
func copyFolder(to, from string) error {
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		return err
	}
	return os.Chmod(to, 0o700) //nolint:gosec // a folder is opened by its owner
}
