package desk

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"slices"
	"strings"

	"rinsate/internal/domain/access"
	"rinsate/internal/record"
	"rinsate/internal/wire/table"
)

// Import reads a file in, in one transaction: either every line of it is stored or, when one is
// wrong, nothing; the error lists what is wrong. A line's record has an id that follows from the
// line, so that reading the same file in again stores nothing twice, and an import that was
// interrupted is simply done again. With dry nothing is stored and everything is told.
func (a Acting) Import(ctx context.Context, f File, dry bool) (Imported, error) {
	out := Imported{File: f.Name, Kind: f.Kind}
	if !slices.Contains(Kinds, f.Kind) {
		return out, invalid("%q is not a kind of file; allowed: %s", f.Kind, strings.Join(words(Kinds), ", "))
	}
	defer a.desk.DB.Occupy()()
	digest := sha256.New()
	// The whole file is one transaction, so a writer that waits for its end is bounded by the size
	// of the file and not by the number of lines.
	work := func(w *Work) error {
		author := Entry{By: f.By}
		if err := w.may(ImportOf(f.Kind), &author); err != nil {
			return err
		}
		f.By = author.By
		author.Second = f.Second
		if err := w.second(ImportOf(f.Kind), author, &f.SecondCode); err != nil {
			return err
		}
		// Whoever may read the file in writes down what others did.
		w.actor = access.Scribe()
		in := intake{Work: w, file: f, out: &out, ctx: ctx, back: map[string]changeBack{}}
		if err := in.run(io.TeeReader(f.Content, digest)); err != nil {
			return err
		}
		out.Digest = hex.EncodeToString(digest.Sum(nil))
		if dry || out.Stored == 0 {
			return nil
		}
		_, err := w.append(Entry{By: f.By}, record.Import, w.tx.Now, record.ImportBody{
			File: f.Name, Kind: string(f.Kind), Digest: out.Digest, Rows: out.Rows, Stored: out.Stored,
		})
		return err
	}
	if dry {
		return out, a.Try(ctx, work)
	}
	return out, a.Do(ctx, work)
}

func (in *intake) run(content io.Reader) error {
	f := fileOf(in.file.Kind)
	t, err := table.Open(in.file.Name, content, in.file.Profile, f.columns)
	if err != nil {
		return refuse(err)
	}
	in.out.Ignored = t.Ignored()
	if f.whole != nil {
		err = f.whole(in, t)
	} else {
		for r := newRow(t, f.columns); t.Next() && in.ctx.Err() == nil; {
			in.line(f, r)
		}
	}
	if err != nil {
		return err
	}
	if err := in.ctx.Err(); err != nil {
		return err
	}
	if err := t.Err(); err != nil {
		return refuse(err)
	}
	if err := in.changedBack(); err != nil {
		return err
	}
	return in.signals()
}
