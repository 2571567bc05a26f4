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
)

// uploadLimit bounds the form with a file: the largest file, the other fields, and the lines between
// them.
const uploadLimit = dossier.MaxSize + formLimit

// fileLine is an attached file.
type fileLine struct {
	ID, Href, Title, Kind, At, By, About, AboutHref string
	Media, Size, Digest                             string
	// Picture files are shown; Width and Height are theirs.
	Picture       bool
	Width, Height int
	// Void takes the file back; nil for whoever may not.
	Void *form
}

func (s *Server) fileLine(a desk.Attached, clock clock) fileLine {
	return fileLine{
		ID: string(a.ID), Href: s.url("/files/" + string(a.ID)), Title: a.Title, Kind: string(a.Kind), At: clock(a.At), By: a.By,
		About: a.About, AboutHref: s.recordHref(a.About), Media: strings.ToUpper(strings.TrimPrefix(a.Media.Extension(), ".")), Size: fileSize(a.Size), Digest: a.Digest,
		Picture: a.Picture(), Width: a.Width, Height: a.Height,
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
func (s *Server) fileLines(v desk.View, tag string, from, to unit.Instant, clock clock) ([]fileLine, error) {
	all, err := v.Attachments(tag)
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
func (s *Server) attachedFile(x *exchange) error {
	var a desk.Attached
	var content []byte
	err := s.view(x.r.Context(), func(v desk.View) (err error) {
		if a, err = v.Attachment(x.r.PathValue("record")); err == nil {
			_, content, err = v.Content(string(a.ID))
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
	h := x.w.Header()
	h.Add("Content-Security-Policy", "default-src 'none'; sandbox")
	h.Set("Content-Type", string(a.Media))
	h.Set("Content-Disposition", mime.FormatMediaType(place, map[string]string{"filename": a.Scope + " " + a.Title + a.Media.Extension()}))
	h.Set("Cache-Control", "private, max-age=31536000, immutable")
	h.Set("ETag", `"`+a.Digest+`"`)
	http.ServeContent(x.w, x.r, "", time.Time{}, bytes.NewReader(content))
	return nil
}

// attach keeps a file that was sent.
func (s *Server) attach(x *exchange) error {
	tag := x.r.PathValue("tag")
	u, err := x.upload()
	f := formOf(u.fields, "kind", "title", "about")
	return x.act(tag, "file", f, "filed", func(e desk.Entry) error {
		if err != nil {
			return err
		}
		media, err := dossier.Claim(u.name, u.declared)
		if err != nil {
			return &pageError{status: http.StatusUnsupportedMediaType, message: sentence(err.Error())}
		}
		a := dossier.Attachment{
			Scope: tag, About: f.Typed["about"], Kind: dossier.Kind(f.Typed["kind"]), Title: strings.TrimSpace(f.Typed["title"]), File: dossier.File{Media: media},
		}
		return x.acting().Do(x.r.Context(), func(w *desk.Work) error {
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

// upload reads a form with a file part by part, so that what came before a file that is too large is
// known all the same.
func (x *exchange) upload() (u uploaded, err error) {
	u.fields = url.Values{}
	parts, err := x.r.MultipartReader()
	if err != nil {
		return u, &pageError{status: http.StatusBadRequest, message: "The form has no file.", hint: "Open the page anew and send it again."}
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
		return u, &pageError{status: http.StatusBadRequest, message: "Choose a file."}
	}
	return u, nil
}

// take reads one part of a form.
func (u *uploaded) take(part *multipart.Part) error {
	most := int64(formLimit)
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
		return tooLarge()
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
	return &pageError{status: http.StatusBadRequest, message: "The form did not arrive whole.", hint: "Send it again."}
}

func fileTooLarge() error {
	return &pageError{
		status: http.StatusRequestEntityTooLarge, message: fmt.Sprintf("The file is larger than %d MiB.", dossier.MaxSize>>20),
		hint: "Nothing was stored. Make the picture smaller, or split the document.",
	}
}

// voidFile takes a file back.
func (s *Server) voidFile(x *exchange) error {
	var a desk.Attached
	if err := s.view(x.r.Context(), func(v desk.View) (err error) {
		a, err = v.Attachment(x.r.PathValue("record"))
		return err
	}); err != nil {
		return err
	}
	f := x.read("reason")
	return x.act(a.Scope, "void-"+string(a.ID), f, "voided", func(e desk.Entry) error {
		e.Corrects, e.Reason = a.ID, strings.TrimSpace(f.Typed["reason"])
		if e.Reason == "" {
			return &pageError{status: http.StatusBadRequest, message: "Say why the file is taken back."}
		}
		return x.takeBack(e)
	})
}
