package web

import (
	"net/http"
	"strconv"

	"rinsate/internal/desk"
	onpaper "rinsate/internal/present/paper"
	"rinsate/internal/web/kit"
)

// paperPath is where the paper is printed that takes over while the computer is down.
const paperPath = "/paper"

// paperPage is a document, to look at and to print.
type paperPage struct {
	onpaper.Document
	// Ready says that it is the list of what is ready, and not the blank forms.
	Ready bool
	// Hours are for how long the list is valid; Choices are those that can be chosen.
	Hours   int
	Choices []int
	PDF     string
}

// readyPaper shows the list of what is ready for a shift without the computer.
func (s urgentPages) readyPaper(x *kit.Exchange) error {
	hours, err := shiftHours(x)
	if err != nil {
		return err
	}
	d, err := s.readyList(x, hours)
	if err != nil {
		return err
	}
	page := paperPage{Document: d, Ready: true, Hours: hours, PDF: s.URL(paperPath + "/ready.pdf?hours=" + strconv.Itoa(hours))}
	for h := desk.UsualShift / 2; h <= desk.MostShift; h += desk.UsualShift / 2 {
		page.Choices = append(page.Choices, h)
	}
	return x.Show(http.StatusOK, "paper", false, page)
}

// shiftHours reads for how many hours a list is asked for.
func shiftHours(x *kit.Exchange) (int, error) {
	text := x.R.URL.Query().Get("hours")
	if text == "" {
		return desk.UsualShift, nil
	}
	hours, err := strconv.Atoi(text)
	if err != nil || hours < 1 || hours > desk.MostShift {
		return 0, &kit.PageError{
			Status: http.StatusBadRequest, Message: "A list for a shift is not valid for " + text + " hours.",
			Hint: "Choose 1 to " + strconv.Itoa(desk.MostShift) + " hours.",
		}
	}
	return hours, nil
}

func (s urgentPages) readyList(x *kit.Exchange, hours int) (d onpaper.Document, err error) {
	err = s.View(x.R.Context(), func(v desk.View) error {
		l, err := v.Day().ShiftList(s.Now(), hours)
		d = onpaper.Shift(l, s.Terms, v.Zone())
		return err
	})
	return d, err
}

// blankPaper shows the blank forms.
func (s urgentPages) blankPaper(x *kit.Exchange) error {
	d, err := s.blankForms(x)
	if err != nil {
		return err
	}
	return x.Show(http.StatusOK, "paper", false, paperPage{Document: d, PDF: s.URL(paperPath + "/forms.pdf")})
}

func (s urgentPages) blankForms(x *kit.Exchange) (d onpaper.Document, err error) {
	err = s.View(x.R.Context(), func(v desk.View) error {
		b, err := v.Day().Blanks(s.Now())
		d = onpaper.Forms(b, s.Terms, v.Zone())
		return err
	})
	return d, err
}

func (s urgentPages) readyPDF(x *kit.Exchange) error {
	hours, err := shiftHours(x)
	if err != nil {
		return err
	}
	d, err := s.readyList(x, hours)
	return s.paperFile(x, "ready-list.pdf", d, err)
}

func (s urgentPages) blankPDF(x *kit.Exchange) error {
	d, err := s.blankForms(x)
	return s.paperFile(x, "blank-forms.pdf", d, err)
}

func (s urgentPages) paperFile(x *kit.Exchange, name string, d onpaper.Document, err error) error {
	if err != nil {
		return err
	}
	content, err := onpaper.PDF(d, s.Now().Time())
	if err != nil {
		return err
	}
	return x.Download(name, "application/pdf", content)
}
