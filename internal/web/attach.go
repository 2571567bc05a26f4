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
	"strings"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
)

// uploadLimit bounds the form with a file: the largest file, the other fields, and the lines between
// them.
const uploadLimit = dossier.MaxSize + kit.FormLimit

// fileLine is an attached file.
type fileLine struct {
	ID, Href, Title, Kind, At, By, About, AboutHref string
	Media, Size, Digest                             string
	// Picture files are shown; Width and Height are theirs.
	Picture       bool
	Width, Height int
	// Void takes the file back; nil for whoever may not.
	Void *kit.Form
}

func (s *Server) fileLine(a desk.Attached, clock words.Clock) fileLine {
	return fileLine{
		ID:        string(a.ID),
		Href:      s.URL("/files/" + string(a.ID)),
		Title:     a.Title,
		Kind:      string(a.Kind),
		At:        clock(a.At),
		By:        a.By,
		About:     a.About,
		AboutHref: s.RecordHref(a.About),
		Media:     strings.ToUpper(strings.TrimPrefix(a.Media.Extension(), ".")),
		Size:      fileSize(a.Size),
		Digest:    a.Digest,
		Picture:   a.Picture(),
		Width:     a.Width,
		Height:    a.Height,
	}
}

// fileSize writes a number of bytes for a person.
func fileSize(n int64) string {
	if n < 1<<20 {
		return fmt.Sprintf("%d KiB", (n+1<<10-1)>>10)
	}
	return fmt.Sprintf("%.1f MiB", float64(n)/(1<<20))
}

// fileLines lists the files that were attached to a scope between two instants and stand, the latest
// first, with the forms that whoever asks may send.
func (s scopePages) fileLines(v desk.View, tag string, from, to unit.Instant, clock words.Clock) ([]fileLine, error) {
	all, err := v.Records().Attachments(tag)
	if err != nil {
		return nil, err
	}
	var lines []fileLine
	for _, a := range all {
		if a.Replaced.Known() || a.At < from || a.At > to {
			continue
		}
		lines = append(lines, s.fileLine(a, clock))
	}
	return lines, nil
}

// attachedFile answers with the bytes of a file, which nothing else on this site may be made of.
func (s scopePages) attachedFile(x *kit.Exchange) error {
	var a desk.Attached
	var content []byte
	err := s.View(x.R.Context(), func(v desk.View) (err error) {
		if a, err = v.Records().Attachment(x.R.PathValue("record")); err == nil {
			_, content, err = v.Records().Content(string(a.ID))
		}
		return err
	})
	if err != nil {
		return err
	}
	place := "attachment"
	if a.Picture() {
		place = "inline"
	}
	h := x.W.Header()
	h.Add("Content-Security-Policy", "default-src 'none'; sandbox")
	h.Set("Content-Type", string(a.Media))
	h.Set("Content-Disposition", mime.FormatMediaType(place, map[string]string{"filename": a.Scope + " " + a.Title + a.Media.Extension()}))
	h.Set("Cache-Control", "private, max-age=31536000, immutable")
	h.Set("ETag", `"`+a.Digest+`"`)
	http.ServeContent(x.W, x.R, "", time.Time{}, bytes.NewReader(content))
	return nil
}

// attach keeps a file that was sent.
func (s scopePages) attach(x *kit.Exchange) error {
	tag := x.R.PathValue("tag")
	u, err := readUpload(x)
	f := kit.FormOf(u.fields, "kind", "title", "about")
	return s.actOnScope(x, tag, "file", f, "filed", func(e desk.Entry) error {
		if err != nil {
			return err
		}
		media, err := dossier.Claim(u.name, u.declared)
		if err != nil {
			return &kit.PageError{Status: http.StatusUnsupportedMediaType, Message: kit.Sentence(err.Error())}
		}
		a := dossier.Attachment{
			Scope: tag,
			About: f.Typed["about"],
			Kind:  dossier.Kind(f.Typed["kind"]),
			Title: strings.TrimSpace(f.Typed["title"]),
			File:  dossier.File{Media: media},
		}
		return x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
			_, err := w.Attach(e, a, u.content)
			return err
		})
	})
}

// uploaded is a form with one file.
type uploaded struct {
	fields         url.Values
	name, declared string
	content        []byte
}

// readUpload reads a form with a file part by part, so that what came before a file that is too large is
// known all the same.
func readUpload(x *kit.Exchange) (u uploaded, err error) {
	u.fields = url.Values{}
	parts, err := x.R.MultipartReader()
	if err != nil {
		return u, &kit.PageError{Status: http.StatusBadRequest, Message: "The form has no file.", Hint: "Open the page anew and send it again."}
	}
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return u, unreadable(err)
		}
		if err := u.take(part); err != nil {
			return u, err
		}
	}
	if u.name == "" && len(u.content) == 0 {
		return u, &kit.PageError{Status: http.StatusBadRequest, Message: "Choose a file."}
	}
	return u, nil
}

// take reads one part of a form.
func (u *uploaded) take(part *multipart.Part) error {
	most := int64(kit.FormLimit)
	if part.FormName() == "file" {
		most = dossier.MaxSize
	}
	content, err := io.ReadAll(io.LimitReader(part, most+1))
	switch {
	case err != nil:
		return unreadable(err)
	case int64(len(content)) > most && part.FormName() == "file":
		return fileTooLarge()
	case int64(len(content)) > most:
		return kit.TooLarge()
	case part.FormName() == "file":
		u.name, u.declared, u.content = part.FileName(), part.Header.Get("Content-Type"), content
	default:
		u.fields.Add(part.FormName(), string(content))
	}
	return nil
}

// unreadable says what is wrong with a form that cannot be read to its end.
func unreadable(err error) error {
	if _, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return fileTooLarge()
	}
	return &kit.PageError{Status: http.StatusBadRequest, Message: "The form did not arrive whole.", Hint: "Send it again."}
}

func fileTooLarge() error {
	return &kit.PageError{
		Status: http.StatusRequestEntityTooLarge, Message: fmt.Sprintf("The file is larger than %d MiB.", dossier.MaxSize>>20),
		Hint: "Nothing was stored. Make the picture smaller, or split the document.",
	}
}

// voidFile takes a file back.
func (s scopePages) voidFile(x *kit.Exchange) error {
	var a desk.Attached
	if err := s.View(x.R.Context(), func(v desk.View) (err error) {
		a, err = v.Records().Attachment(x.R.PathValue("record"))
		return err
	}); err != nil {
		return err
	}
	f := x.Read("reason")
	return s.actOnScope(x, a.Scope, "void-"+string(a.ID), f, "voided", func(e desk.Entry) error {
		e.Corrects, e.Reason = a.ID, strings.TrimSpace(f.Typed["reason"])
		if e.Reason == "" {
			return &kit.PageError{Status: http.StatusBadRequest, Message: "Say why the file is taken back."}
		}
		return kit.TakeBack(x, e)
	})
}
