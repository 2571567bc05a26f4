package chart

import (
	"bytes"
	"fmt"
	"time"

	"codeberg.org/go-pdf/fpdf"
)

// The room on an upright A4 page inside margins of 12 mm (ISO 216, 210 mm × 297 mm), in pixels of three quarters of a
// point.
const (
	SheetWidth  = (595.28 - 2*sheetMargin) / pointsPerPixel
	SheetHeight = (841.89 - 2*sheetMargin) / pointsPerPixel
	sheetMargin = 34.02
)

// Sheets returns a document of upright A4 pages, each of which one function draws into the room inside the margins. The
// error, if any, is that of the PDF writer.
func Sheets(title string, o PDFOptions, pages ...func(Canvas)) ([]byte, error) {
	created := o.Created
	if created.IsZero() {
		created = time.Unix(0, 0)
	}
	doc := fpdf.New("P", "pt", "A4", "")
	doc.SetCreationDate(created.UTC())
	doc.SetModificationDate(created.UTC())
	doc.SetCatalogSort(true)
	doc.SetTitle(clean(title), true)
	doc.SetAuthor(clean(o.Author), true)
	doc.SetCreator("Rinsate", true)
	doc.SetLang("en")
	doc.SetAutoPageBreak(false, 0)
	for _, draw := range pages {
		doc.AddPage()
		draw(newPDFCanvas(doc, sheetMargin, sheetMargin, pointsPerPixel))
	}
	var b bytes.Buffer
	if err := doc.Output(&b); err != nil {
		return nil, fmt.Errorf("write the pages as PDF: %w", err)
	}
	return b.Bytes(), nil
}
