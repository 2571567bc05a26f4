package dossier_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"hash/crc32"
	"image"
	"image/jpeg"
	"image/png"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rinsate/internal/domain/dossier"
)

func jpegOf(tb testing.TB, width, height int) []byte {
	tb.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, width, height)), nil); err != nil {
		tb.Fatal(err)
	}
	return b.Bytes()
}

func pngOf(tb testing.TB, width, height int) []byte {
	tb.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, width, height))); err != nil {
		tb.Fatal(err)
	}
	return b.Bytes()
}

// claiming returns a PNG whose header claims another size than the picture has, with the right check
// sum (ISO/IEC 15948, 11.2.2: width and height are the first 8 bytes of IHDR's data, at byte 16).
func claiming(tb testing.TB, width, height uint32) []byte {
	tb.Helper()
	b := pngOf(tb, 1, 1)
	binary.BigEndian.PutUint32(b[16:], width)
	binary.BigEndian.PutUint32(b[20:], height)
	binary.BigEndian.PutUint32(b[29:], crc32.ChecksumIEEE(b[12:29]))
	return b
}

// document is a PDF of one empty page, as small as ISO 32000-1 allows.
const document = `%PDF-1.4
1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj
2 0 obj<</Type/Pages/Kids[3 0 R]/Count 1>>endobj
3 0 obj<</Type/Page/Parent 2 0 R/MediaBox[0 0 3 3]>>endobj
xref
0 4
0000000000 65535 f 
0000000009 00000 n 
0000000052 00000 n 
0000000101 00000 n 
trailer<</Size 4/Root 1 0 R>>
startxref
160
%%EOF
`

func TestInspect(t *testing.T) {
	t.Parallel()
	big := func(n int) []byte {
		return append(jpegOf(t, 3, 2), make([]byte, n-len(jpegOf(t, 3, 2)))...)
	}
	tests := []struct {
		reason  string
		content []byte
		want    dossier.File // without size and digest
		err     string
	}{
		{"a JPEG", jpegOf(t, 3, 2), dossier.File{Media: dossier.JPEG, Width: 3, Height: 2}, ""},
		{"a PNG", pngOf(t, 4, 5), dossier.File{Media: dossier.PNG, Width: 4, Height: 5}, ""},
		{"a PDF", []byte(document), dossier.File{Media: dossier.PDF}, ""},
		{"a PDF of version 2.0", []byte(strings.Replace(document, "1.4", "2.0", 1)), dossier.File{Media: dossier.PDF}, ""},
		{"a PDF without the last line feed", []byte(strings.TrimSpace(document)), dossier.File{Media: dossier.PDF}, ""},
		{"a PDF with the line ends of another system", []byte(strings.ReplaceAll(document, "\n", "\r\n")), dossier.File{Media: dossier.PDF}, ""},
		{"a PDF that was added to", []byte(document + "4 0 obj<<>>endobj\nstartxref\n160\n%%EOF\n"), dossier.File{Media: dossier.PDF}, ""},
		{
			"a PDF whose end mark lies just inside the last 1024 bytes",
			[]byte(document + strings.Repeat(" ", 1023-len("startxref\n160\n%%EOF"))),
			dossier.File{Media: dossier.PDF},
			"",
		},
		{"nothing", nil, dossier.File{}, "the file is empty"},
		{"just the limit", big(dossier.MaxSize), dossier.File{Media: dossier.JPEG, Width: 3, Height: 2}, ""},
		{"a byte over the limit", big(dossier.MaxSize + 1), dossier.File{}, "the file has 10.0 MiB, at most 10 MiB are kept"},
		{"text", []byte("a text"), dossier.File{}, "of a type that is not kept; allowed: JPEG (.jpg, .jpeg), PNG (.png) and PDF (.pdf)"},
		{"a page", []byte("<!doctype html><script>"), dossier.File{}, "of a type that is not kept"},
		{"a drawing that can hold a script", []byte("<svg xmlns='http://www.w3.org/2000/svg'/>"), dossier.File{}, "of a type that is not kept"},
		{"a GIF", []byte("GIF89a\x01\x00\x01\x00"), dossier.File{}, "of a type that is not kept"},
		{"a PDF behind something else", []byte("\n" + document), dossier.File{}, "of a type that is not kept"},
		{"the first bytes of a JPEG", jpegOf(t, 3, 2)[:40], dossier.File{}, "the picture cannot be read and may be damaged"},
		{"the first bytes of a PNG", pngOf(t, 3, 2)[:20], dossier.File{}, "the picture cannot be read and may be damaged"},
		{
			"a PNG with a wrong check sum", slices.Concat(pngOf(t, 3, 2)[:19], []byte{9}, pngOf(t, 3, 2)[20:]),
			dossier.File{},
			"the picture cannot be read and may be damaged",
		},
		{"just 50 megapixels", claiming(t, 10_000, 5_000), dossier.File{Media: dossier.PNG, Width: 10_000, Height: 5_000}, ""},
		{"a row over 50 megapixels", claiming(t, 10_000, 5_001), dossier.File{}, "the picture has 10000 × 5001 pixels, at most 50 million are kept"},
		{"a line of just 50 million", claiming(t, 1, 50_000_000), dossier.File{Media: dossier.PNG, Width: 1, Height: 50_000_000}, ""},
		{"a line of one more", claiming(t, 50_000_001, 1), dossier.File{}, "at most 50 million"},
		{"so many that their product runs over", claiming(t, 1<<31-1, 1<<31-1), dossier.File{}, ""}, // refused here or by the reader
		{"no width", claiming(t, 0, 5), dossier.File{}, "picture"},
		{"a PDF without a version", []byte("%PDF-\n" + document), dossier.File{}, "does not say which version of PDF it is"},
		{"a PDF of a version that does not exist", []byte(strings.Replace(document, "1.4", "3.0", 1)), dossier.File{}, "does not say which version"},
		{"only the header", []byte("%PDF-1.4"), dossier.File{}, "the document has no end mark"},
		{"a PDF that was cut off", []byte(document[:len(document)-7]), dossier.File{}, "the document has no end mark, so a part of it is missing"},
		{"a PDF with much behind its end", []byte(document + strings.Repeat(" ", 1024)), dossier.File{}, "the document has no end mark"},
		{"a PDF without a trailer", []byte(strings.Replace(document, "startxref", "", 1)), dossier.File{}, "the document has no trailer"},
		{"a PDF whose trailer says nothing", []byte(strings.Replace(document, "\n160\n", "\n", 1)), dossier.File{}, "the document's trailer points outside of it"},
		{
			"a PDF whose middle is missing", []byte(strings.Replace(document, "\n160\n", "\n16000\n", 1)),
			dossier.File{},
			"the document's trailer points outside of it",
		},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			before := bytes.Clone(test.content)
			got, err := dossier.Inspect(test.content)
			if !bytes.Equal(before, test.content) {
				t.Error("the content was changed")
			}
			if test.want.Media == "" {
				if err == nil || !strings.Contains(err.Error(), test.err) || got != (dossier.File{}) {
					t.Errorf("got %+v, %v, want %q", got, err, test.err)
				}
				return
			}
			sum := sha256.Sum256(test.content)
			test.want.Size, test.want.Digest = int64(len(test.content)), hex.EncodeToString(sum[:])
			if diff := cmp.Diff(test.want, got); diff != "" || err != nil {
				t.Errorf("%v (-want +got):\n%s", err, diff)
			}
		})
	}
}

// Anybody can check the digest with another program: this one is what sha256sum prints.
func TestDigestIsThatOfOtherPrograms(t *testing.T) {
	t.Parallel()
	f, err := dossier.Inspect([]byte(document))
	if want := "9c72b1145150123c541047f52e98cdec64d2848a1e3f5fe34d71cd42e38a24a4"; f.Digest != want || err != nil {
		t.Errorf("got %s, %v, want %s", f.Digest, err, want)
	}
}

func TestClaim(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, declared string
		want           dossier.Media
		err            string
	}{
		{"a.jpg", "", dossier.JPEG, ""},
		{"A.JPEG", "image/jpeg", dossier.JPEG, ""},
		{"folder.d/a.png", "image/png", dossier.PNG, ""},
		{"report.v2.pdf", "Application/PDF; version=1.7", dossier.PDF, ""},
		{"report.pdf", "application/octet-stream", dossier.PDF, ""},
		{"scan", "image/png", dossier.PNG, ""},
		{"scan.", "", "", ""},
		{"", "", "", ""},
		{"folder.d/scan", "", "", ""},
		{"a.gif", "", "", "files that end in .gif are not kept; allowed: JPEG"},
		{"a.pdf.exe", "application/pdf", "", "files that end in .exe are not kept"},
		{"a", "text/html", "", "files of the type text/html are not kept; allowed: JPEG"},
		{"a.jpg", "image/png", "", "the file ends in .jpg and is declared as image/png"},
	}
	for _, test := range tests {
		t.Run(test.name+" "+test.declared, func(t *testing.T) {
			got, err := dossier.Claim(test.name, test.declared)
			if got != test.want {
				t.Errorf("got %q, want %q", got, test.want)
			}
			wantError(t, err, test.err)
		})
	}
	for _, m := range dossier.MediaTypes {
		if got, err := dossier.Claim("x"+m.Extension(), string(m)); got != m || err != nil {
			t.Errorf("its own ending: %q, %v, want %q", got, err, m)
		}
	}
	if got := dossier.Media("text/html").Extension(); got != "" {
		t.Errorf("a type that is not kept has the ending %q", got)
	}
}

func TestAgrees(t *testing.T) {
	t.Parallel()
	found, err := dossier.Inspect([]byte(document))
	if err != nil {
		t.Fatal(err)
	}
	tests := []struct {
		reason string
		claim  dossier.File
		err    string
	}{
		{"nothing is claimed", dossier.File{}, ""},
		{"all is claimed", found, ""},
		{"another type", dossier.File{Media: dossier.JPEG}, "the file is called a JPEG picture and holds a PDF document"},
		{"another digest", dossier.File{Digest: strings.Repeat("0", 64)}, "send it again"},
		{"another size", dossier.File{Size: 1}, "it has " + strconv.Itoa(len(document)) + " bytes, said were 1"},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) { wantError(t, found.Agrees(test.claim), test.err) })
	}
}

// wantError checks that err holds the part, or is nil where the part is empty.
func wantError(t *testing.T, err error, part string) {
	t.Helper()
	switch {
	case part == "" && err != nil:
		t.Errorf("unexpected error: %v", err)
	case part != "" && (err == nil || !strings.Contains(err.Error(), part)):
		t.Errorf("got error %v, want %q in it", err, part)
	}
}

// sound fails when Inspect accepts what it must not, or says other than the bytes do.
func sound(tb rapid.TB, content []byte) {
	tb.Helper()
	f, err := dossier.Inspect(content)
	if err != nil {
		if f != (dossier.File{}) || !strings.HasPrefix(err.Error(), "the ") {
			tb.Fatalf("refused with %+v, %v", f, err)
		}
		return
	}
	sum := sha256.Sum256(content)
	begins := map[dossier.Media]string{dossier.JPEG: "\xff\xd8\xff", dossier.PNG: "\x89PNG\r\n\x1a\n", dossier.PDF: "%PDF-"}
	switch {
	case !slices.Contains(dossier.MediaTypes, f.Media) || !bytes.HasPrefix(content, []byte(begins[f.Media])):
		tb.Fatalf("a file that begins with %q is called %s", content[:min(8, len(content))], f.Media)
	case f.Digest != hex.EncodeToString(sum[:]) || f.Size != int64(len(content)) || len(content) > dossier.MaxSize:
		tb.Fatalf("%d bytes: %+v", len(content), f)
	case int64(f.Width)*int64(f.Height) > dossier.MaxPixels:
		tb.Fatalf("%d × %d pixels were accepted", f.Width, f.Height)
	}
	// What Inspect accepts can be recorded.
	a := dossier.Attachment{Scope: "D-01", Kind: dossier.Other, Title: "t", File: f, At: 1, By: "T-01"}
	if err := a.Check(); err != nil {
		tb.Fatalf("accepted and not recorded: %v", err)
	}
	if err := f.Agrees(f); err != nil {
		tb.Fatalf("it does not agree with itself: %v", err)
	}
}

func TestInspectChangedFiles(t *testing.T) {
	t.Parallel()
	whole := [][]byte{jpegOf(t, 9, 7), pngOf(t, 9, 7), []byte(document)}
	rapid.Check(t, func(rt *rapid.T) {
		content := bytes.Clone(rapid.SampledFrom(whole).Draw(rt, "file"))
		for range rapid.IntRange(0, 3).Draw(rt, "changes") {
			content[rapid.IntRange(0, len(content)-1).Draw(rt, "at")] = rapid.Byte().Draw(rt, "byte")
		}
		sound(rt, content[:rapid.IntRange(0, len(content)).Draw(rt, "length")])
	})
}

func FuzzInspect(f *testing.F) {
	for _, content := range [][]byte{
		jpegOf(f, 3, 2), pngOf(f, 3, 2), claiming(f, 1<<31-1, 1<<31-1), []byte(document), []byte("%PDF-1.4 startxref -1 %%EOF"), nil,
	} {
		f.Add(content)
	}
	f.Fuzz(func(t *testing.T, content []byte) { sound(t, content) })
}
