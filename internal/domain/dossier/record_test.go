package dossier_test

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/domain/dossier"
)

// picture is an attachment to which nothing can be objected.
func picture() dossier.Attachment {
	return dossier.Attachment{
		Scope: "D-01", About: "01890a5d-ac96-774b-bcce-b302099a8057", Kind: dossier.Photograph, Title: "scratch at the distal end",
		File: dossier.File{Media: dossier.JPEG, Size: 1234, Digest: strings.Repeat("0a", 32), Width: 4000, Height: 3000},
		At:   1_000_000, By: "T-01",
	}
}

func TestAttachmentCheck(t *testing.T) {
	t.Parallel()
	tests := []struct {
		reason string
		change func(*dossier.Attachment)
		err    string
	}{
		{"a picture", func(*dossier.Attachment) {}, ""},
		{"a document about the scope as such", func(a *dossier.Attachment) {
			a.About, a.Kind, a.Media, a.Width, a.Height = "", dossier.Instructions, dossier.PDF, 0, 0
		}, ""},
		{"the longest title", func(a *dossier.Attachment) { a.Title = strings.Repeat("ä", dossier.MaxTitle) }, ""},
		{"a picture of a certificate", func(a *dossier.Attachment) { a.Kind = dossier.Certificate }, ""},
		{"the largest file", func(a *dossier.Attachment) { a.Size = dossier.MaxSize }, ""},
		{"no scope", func(a *dossier.Attachment) { a.Scope = "" }, "the scope is missing"},
		{"another kind", func(a *dossier.Attachment) { a.Kind = "film" }, `kind "film" is not known; allowed: photograph, instructions, certificate, report, other`},
		{"no title", func(a *dossier.Attachment) { a.Title = " " }, "the title is missing"},
		{"a title too long", func(a *dossier.Attachment) { a.Title = strings.Repeat("ä", dossier.MaxTitle+1) }, "the title has 201 characters, at most 200"},
		{"a title of two lines", func(a *dossier.Attachment) { a.Title = "one\ntwo" }, "one line of plain text"},
		{"a title that is no text", func(a *dossier.Attachment) { a.Title = "\xff" }, "one line of plain text"},
		{"a photograph that is a document", func(a *dossier.Attachment) { a.Media, a.Width, a.Height = dossier.PDF, 0, 0 }, "a photograph is a picture"},
		{"no time", func(a *dossier.Attachment) { a.At = 0 }, "when was the file made?"},
		{"nobody", func(a *dossier.Attachment) { a.By = "" }, "who attaches it?"},
		{"another media type", func(a *dossier.Attachment) { a.Kind, a.Media = dossier.Other, "image/svg+xml" }, `media type "image/svg+xml" is not kept`},
		{"an empty file", func(a *dossier.Attachment) { a.Size = 0 }, "a size of 0 bytes is outside 1 to 10485760"},
		{"a file too large", func(a *dossier.Attachment) { a.Size = dossier.MaxSize + 1 }, "outside 1 to 10485760"},
		{"a digest in capitals", func(a *dossier.Attachment) { a.Digest = strings.Repeat("0A", 32) }, "is not a SHA-256"},
		{"a digest too short", func(a *dossier.Attachment) { a.Digest = a.Digest[2:] }, "is not a SHA-256"},
		{"no digest", func(a *dossier.Attachment) { a.Digest = strings.Repeat("x", 64) }, "is not a SHA-256"},
		{"a picture without a size", func(a *dossier.Attachment) { a.Width = 0 }, "the picture has no size"},
		{"a picture too large", func(a *dossier.Attachment) { a.Width = 16_667 }, "at most 50 million"},
		{"a document with a width", func(a *dossier.Attachment) { a.Kind, a.Media, a.Height = dossier.Report, dossier.PDF, 0 }, "has no width and height"},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			a := picture()
			test.change(&a)
			wantError(t, a.Check(), test.err)
		})
	}
	for _, kind := range dossier.Kinds {
		a := picture()
		a.Kind = kind
		wantError(t, a.Check(), "")
	}
}

func TestHandoverCheck(t *testing.T) {
	t.Parallel()
	tests := []struct {
		reason string
		change func(*dossier.Handover)
		err    string
	}{
		{"a note", func(*dossier.Handover) {}, ""},
		{"a note about no scope", func(h *dossier.Handover) { h.Scopes = nil }, ""},
		{"the longest note", func(h *dossier.Handover) { h.Text = strings.Repeat("ä", dossier.MaxNote) }, ""},
		{"lines and tabs", func(h *dossier.Handover) { h.Text = "one\n\ttwo" }, ""},
		{"a character more", func(h *dossier.Handover) { h.Text = strings.Repeat("ä", dossier.MaxNote+1) }, "the text has 2001 characters, at most 2000"},
		{"nothing", func(h *dossier.Handover) { h.Text = " \n" }, "the text is missing"},
		{"a control character", func(h *dossier.Handover) { h.Text = "bell\a" }, "must be plain text"},
		{"no text", func(h *dossier.Handover) { h.Text = "\xff" }, "must be plain text"},
		{"no time", func(h *dossier.Handover) { h.At = 0 }, "when was it written?"},
		{"nobody", func(h *dossier.Handover) { h.By = "" }, "who writes it?"},
		{"a scope without a tag", func(h *dossier.Handover) { h.Scopes = []string{"D-01", ""} }, "scope 2 has no tag"},
		{"a scope twice", func(h *dossier.Handover) { h.Scopes = []string{"D-01", "D-02", "D-01"} }, `scope "D-01" is named twice`},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			h := dossier.Handover{At: 1_000_000, By: "T-01", Text: "D-01 is drying", Scopes: []string{"D-01"}}
			test.change(&h)
			wantError(t, h.Check(), test.err)
		})
	}
}

// The forms that the ledger keeps for ever.
func TestStoredForm(t *testing.T) {
	t.Parallel()
	tests := []struct {
		value any
		want  string
	}{
		{
			picture(),
			`{"scope":"D-01","about":"01890a5d-ac96-774b-bcce-b302099a8057","kind":"photograph","title":"scratch at the distal end",` +
				`"media_type":"image/jpeg","size":1234,"sha256":"` + strings.Repeat("0a", 32) + `","width":4000,"height":3000,"at":1000000,"by":"T-01"}`,
		},
		{dossier.Attachment{}, `{"scope":"","kind":"","title":"","media_type":"","size":0,"sha256":"","at":0,"by":""}`},
		{dossier.Handover{At: 1, By: "T-01", Text: "x", Scopes: []string{"D-01"}}, `{"at":1,"by":"T-01","text":"x","scopes":["D-01"]}`},
		{dossier.Handover{}, `{"at":0,"by":"","text":""}`},
	}
	for _, test := range tests {
		got, err := json.Marshal(test.value)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(test.want, string(got)); diff != "" {
			t.Errorf("(-want +got):\n%s", diff)
		}
	}
}
