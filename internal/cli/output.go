package cli

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"rinsate/internal/present/chart"
	"rinsate/internal/present/list"
	"rinsate/internal/wire/table"
)

// output is where the figures of a command go beside its table.
type output struct {
	csv      bool
	svg, pdf string
}

// flags adds --csv and, where there is a picture, --svg and --pdf.
func (o *output) flags(c *cobra.Command, picture bool) {
	c.Flags().BoolVar(&o.csv, "csv", false, "print the table as CSV")
	if picture {
		c.Flags().StringVar(&o.svg, "svg", "", "also draw the picture into this SVG file")
		c.Flags().StringVar(&o.pdf, "pdf", "", "also draw the picture into this PDF file")
	}
}

// draws says whether a picture is wanted.
func (o *output) draws() bool { return o.svg != "" || o.pdf != "" }

// pictureWidth is the width of a picture in a file of its own, in pixels.
const pictureWidth = 960

// draw writes the picture into the files that were asked for. A file that is there already is
// replaced only as a whole.
func (a *app) draw(o output, p chart.Picture, at time.Time) error {
	if o.svg != "" {
		if err := replaceFile(o.svg, chart.SVG(p, chart.SVGOptions{Width: pictureWidth, Standalone: true})); err != nil {
			return err
		}
		fmt.Fprintf(a.Err, "drawn: %s\n", o.svg)
	}
	if o.pdf != "" {
		page, err := chart.PDF(p, chart.PDFOptions{Created: at})
		if err != nil {
			return err
		}
		if err := replaceFile(o.pdf, page); err != nil {
			return err
		}
		fmt.Fprintf(a.Err, "drawn: %s\n", o.pdf)
	}
	return nil
}

// replaceFile writes a file beside its place and moves it there. What it tells of scopes and people is for whoever asked,
// unless a file that others may read is there already.
func replaceFile(path string, content []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".drawing-*")
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	_, err = f.Write(content)
	if closed := f.Close(); err == nil {
		err = closed
	}
	if old, missing := os.Stat(path); err == nil && missing == nil && old.Mode().IsRegular() {
		err = os.Chmod(f.Name(), old.Mode().Perm())
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		_ = os.Remove(f.Name())
		return fmt.Errorf("write %s: %w", path, err)
	}
	return nil
}

// printRows prints a table, or CSV when that was asked for.
func (a *app) printRows(o output, header []string, rows [][]string) error {
	if !o.csv {
		a.printTable(header, rows)
		return nil
	}
	w, err := list.Plain(a.Out, list.Columns(header))
	if err != nil {
		return err
	}
	for _, row := range rows {
		if err := w.Write(row...); err != nil {
			return err
		}
	}
	return w.Close()
}

// readTable reads a CSV file for a command; "" reads nothing.
func readTable(name string, fields []table.Field, read func(*table.Table) error) (err error) {
	if name == "" {
		return nil
	}
	f, err := os.Open(name)
	if err != nil {
		return fmt.Errorf("read the file: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	t, err := table.Open(name, f, table.Profile{}, fields)
	if err != nil {
		return err
	}
	return read(t)
}
