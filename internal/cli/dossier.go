package cli

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"rinsate/internal/base/fault"
	"rinsate/internal/desk"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/scope"
)

func (a dayCommands) attachCommand() *cobra.Command {
	var who actor
	var kind, title, about string
	c := &cobra.Command{
		Use: "attach TAG FILE", Short: "Attach a photograph or a document to a scope",
		Long: fmt.Sprintf(`Attach a photograph or a document to a scope and, with --about, to one of its records.
The file is kept as it is, under its SHA-256: JPEG, PNG or PDF, at most %d MiB, pictures
of at most %d megapixels. Title and file are kept for good: no patient's name belongs
in them.`, dossier.MaxSize>>20, dossier.MaxPixels/1_000_000),
		Args: cobra.ExactArgs(2),
		RunE: func(c *cobra.Command, args []string) error {
			e, err := who.entry()
			if err != nil {
				return err
			}
			if !slices.Contains(dossier.Kinds, dossier.Kind(kind)) {
				return usageError{fmt.Errorf("kind %q is not known; allowed: %s", kind, scope.Words(dossier.Kinds))}
			}
			file := dossier.Attachment{Scope: args[0], Kind: dossier.Kind(kind), Title: title}
			if file.Media, err = dossier.Claim(args[1], ""); err != nil {
				return usageError{err}
			}
			content, err := readAtMost(args[1], dossier.MaxSize+1)
			if err != nil {
				return usageError{err}
			}
			return a.act(c, &who, func(w *desk.Work) (desk.Receipt, error) {
				if about != "" {
					line, err := w.Show(about)
					if err != nil {
						return desk.Receipt{}, err
					}
					file.About = line.ID
				}
				return w.Attach(e, file, content)
			}, "attached to %s", args[0])
		},
	}
	who.flags(c, desk.ToAttach, true)
	c.Flags().StringVar(&kind, "kind", "", "what it is: "+scope.Words(dossier.Kinds))
	c.Flags().StringVar(&title, "title", "", "what it shows, in a few words")
	c.Flags().StringVar(&about, "about", "", "the record that it belongs to, by its id or the beginning of it")
	must(errors.Join(c.MarkFlagRequired("kind"), c.MarkFlagRequired("title")))
	return c
}

// readAtMost reads a file and no more of it than limit bytes, so that one that is far too large is
// refused without being read.
func readAtMost(name string, limit int64) (content []byte, err error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, fmt.Errorf("read the file: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	if content, err = io.ReadAll(io.LimitReader(f, limit)); err != nil {
		return nil, fmt.Errorf("read the file: %w", err)
	}
	return content, nil
}

func (a dayCommands) attachmentsCommand() *cobra.Command {
	return &cobra.Command{
		Use: "attachments TAG", Short: "List the photographs and documents of a scope, the latest first", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return a.view(c, func(v desk.View) error {
				all, err := v.Records().Attachments(args[0])
				if err != nil {
					return err
				}
				if a.json {
					return a.printJSON(all)
				}
				rows := make([][]string, len(all))
				for i, x := range all {
					rows[i] = []string{
						x.At.In(v.Zone()),
						string(x.Kind),
						x.Title,
						fileWords(x.File),
						x.By,
						short(x.About),
						attachmentRemarks(x),
						short(string(x.ID)),
					}
				}
				a.printTable([]string{"at", "kind", "title", "file", "by", "about", "remarks", "record"}, rows)
				return nil
			})
		},
	}
}

func attachmentRemarks(x desk.Attached) string {
	l := desk.Line{Replaced: x.Replaced, Corrects: string(x.Corrects), Reason: x.Reason, Late: desk.Late(x.At, x.Recorded)}
	return remarks(l)
}

// fileWords says in a few words what a file is.
func fileWords(f dossier.File) string {
	size := fmt.Sprintf("%.1f MiB", float64(f.Size)/(1<<20))
	switch {
	case f.Size < 1<<10:
		size = fmt.Sprintf("%d B", f.Size)
	case f.Size < 1<<20:
		size = fmt.Sprintf("%.1f KiB", float64(f.Size)/(1<<10))
	}
	words := strings.ToUpper(strings.TrimPrefix(f.Media.Extension(), ".")) + " " + size
	if f.Picture() {
		words += fmt.Sprintf(" %d × %d", f.Width, f.Height)
	}
	return words
}

func (a dayCommands) attachmentCommand() *cobra.Command {
	var out string
	c := &cobra.Command{
		Use: "attachment RECORD", Short: "Write an attached file as it came",
		Long: `Write an attached file, named by the record that attaches it (or the beginning of its
id) or by its SHA-256, as it came. The bytes are hashed first: what was changed or is
missing is an error. A file that is there already is never overwritten.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return a.view(c, func(v desk.View) error {
				f, content, err := v.Records().Content(args[0])
				if err != nil {
					return err
				}
				if err := newFile(out, content); err != nil {
					return err
				}
				if a.json {
					return a.printJSON(struct {
						Out string `json:"out"`
						dossier.File
					}{out, f})
				}
				fmt.Fprintf(a.Out, "%s: %s\nSHA-256 %s\n", out, fileWords(f), f.Digest)
				return nil
			})
		},
	}
	c.Flags().StringVar(&out, "out", "", "file to write to")
	must(c.MarkFlagRequired("out"))
	return c
}

// newFile writes a file that is not there yet; one that could not be written whole is taken away.
func newFile(name string, content []byte) error {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600) // it may tell of patients
	if errors.Is(err, fs.ErrExist) {
		return &fault.Error{Code: fault.Conflict, Message: name + " is there already", Hint: "give another name with --out; nothing was changed", Cause: err}
	}
	if err != nil {
		return fmt.Errorf("write the file: %w", err)
	}
	_, err = f.Write(content)
	if err = errors.Join(err, f.Close()); err != nil {
		return errors.Join(fmt.Errorf("write the file: %w", err), os.Remove(name))
	}
	return nil
}

func (a dayCommands) handoverCommand() *cobra.Command {
	var since string
	var limit int
	c := &cobra.Command{
		Use: "handover", Short: "Show the notes that a shift left for the next, the latest first", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return a.view(c, func(v desk.View) error {
				from, err := instant(since, v.Zone(), 0)
				if err != nil {
					return err
				}
				notes, err := v.Records().Handover(from, limit)
				if err != nil {
					return err
				}
				if a.json {
					return a.printJSON(notes)
				}
				a.printNotes(v, notes)
				return nil
			})
		},
	}
	c.Flags().StringVar(&since, "since", "", "only notes from this instant on")
	c.Flags().IntVar(&limit, "limit", 20, "at most so many notes")
	c.AddCommand(a.handoverWriteCommand())
	return c
}

// printNotes prints each note under a line that says whose it is.
func (a dayCommands) printNotes(v desk.View, notes []desk.Note) {
	if len(notes) == 0 {
		fmt.Fprintln(a.Out, "nothing")
		return
	}
	for i, n := range notes {
		if i > 0 {
			fmt.Fprintln(a.Out)
		}
		about := ""
		if len(n.Scopes) > 0 {
			about = "about " + strings.Join(n.Scopes, ", ")
		}
		late := ""
		if n.Late {
			late = "entered late"
		}
		fmt.Fprintln(a.Out, join(n.At.In(v.Zone())+" by "+n.By, about, late, "record "+short(string(n.ID))))
		for line := range strings.Lines(n.Text) {
			fmt.Fprintln(a.Out, "  "+strings.TrimRight(line, "\n"))
		}
	}
}

func (a dayCommands) handoverWriteCommand() *cobra.Command {
	var who actor
	var scopes []string
	c := &cobra.Command{
		Use: "write TEXT", Short: "Leave a note for the next shift",
		Long: fmt.Sprintf(`Leave a note of at most %d characters for the next shift. A later note does not end an
earlier one; take a note back with: rinsate void. Notes are kept for good: no patient's
name belongs in them.`, dossier.MaxNote),
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			e, err := who.entry()
			if err != nil {
				return err
			}
			return a.act(c, &who, func(w *desk.Work) (desk.Receipt, error) {
				return w.HandOver(e, dossier.Handover{Text: args[0], Scopes: scopes})
			}, "left for the next shift")
		},
	}
	who.flags(c, desk.ToHandOver, true)
	c.Flags().StringSliceVar(&scopes, "scope", nil, "scopes that the note is about")
	return c
}
