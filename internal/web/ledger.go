package web

import (
	"archive/zip"
	"net/http"
	"strings"

	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/web/kit"
)

// ledgerPage is the ledger as a whole.
type ledgerPage struct {
	Size int64
	// Note is the newest checkpoint, Signed when it was signed for how many records, with which root; they are
	// empty as long as none was.
	Note, Signed, Root string
	SignedSize, Since  int64
	Origin, Key        string
	// MayExport shows the download of everything.
	MayExport bool
	// Typed is the earlier checkpoint that was pasted, Problem what is wrong with it, Consistent what was
	// found.
	Typed, Problem string
	Consistent     *consistent
}

// consistent says that the ledger begins with what an earlier checkpoint was signed for.
type consistent struct {
	Size, Since int64
	Root        string
}

func (s recordPages) ledger(x *kit.Exchange) error {
	return s.ledgerPage(x, http.StatusOK, ledgerPage{})
}

func (s recordPages) ledgerPage(x *kit.Exchange, status int, page ledgerPage) error {
	site := s.Desk.DB.Site()
	page.Origin, page.Key, page.MayExport = site.Origin, site.VKey, x.May(access.Export)
	err := s.View(x.R.Context(), func(v desk.View) (err error) {
		if page.Size, err = v.Size(); err != nil {
			return err
		}
		note, at, err := v.Records().Newest()
		if err != nil || note == nil {
			return err
		}
		c, err := ledger.Open(note, []string{site.VKey})
		if err != nil {
			return err
		}
		page.Note, page.Signed, page.Root, page.SignedSize, page.Since = string(note), at.In(v.Zone()), c.Root.String(), c.Size, page.Size-c.Size
		return nil
	})
	if err != nil {
		return err
	}
	return x.Show(status, "ledger", false, page)
}

// compareLedger says whether the ledger begins with what an earlier checkpoint was signed for. Nothing is
// stored.
func (s recordPages) compareLedger(x *kit.Exchange) error {
	page := ledgerPage{Typed: x.R.PostFormValue("earlier")}
	err := s.View(x.R.Context(), func(v desk.View) error {
		c, err := v.Records().Prior(pasted(page.Typed))
		if err != nil {
			return err
		}
		size, err := v.Size()
		page.Consistent = &consistent{Size: c.Size, Since: size - c.Size, Root: c.Root.String()}
		return err
	})
	if err == nil {
		return s.ledgerPage(x, http.StatusOK, page)
	}
	shown := x.Shown(err)
	page.Problem = strings.TrimSpace(shown.Message + " " + shown.Hint)
	return s.ledgerPage(x, shown.Status, page)
}

// pasted is a checkpoint as it was before a browser sent it: with the ends of lines that were signed.
func pasted(text string) []byte {
	return []byte(strings.TrimSpace(strings.ReplaceAll(text, "\r\n", "\n")) + "\n")
}

// checkpointFile hands out a checkpoint that is signed now.
func (s recordPages) checkpointFile(x *kit.Exchange) error {
	note, err := s.Desk.DB.Checkpoint(x.R.Context())
	if err != nil {
		return err
	}
	return x.Download("checkpoint.txt", plainText, note)
}

// keyFile hands out the public key.
func (s recordPages) keyFile(x *kit.Exchange) error {
	return x.Download("key.txt", plainText, []byte(s.Desk.DB.Site().VKey+"\n"))
}

// ledgerFile hands out the whole ledger as an outsider verifies it, one at a time: a large one takes a while.
func (s recordPages) ledgerFile(x *kit.Exchange) error {
	if !s.exporting.TryLock() {
		return &kit.PageError{Status: http.StatusServiceUnavailable, Message: "Somebody else is taking the ledger.", Hint: "Try again in some minutes."}
	}
	defer s.exporting.Unlock()
	to := x.Stream("application/zip", "ledger.zip")
	packed := zip.NewWriter(to)
	_, err := s.Desk.DB.ExportTo(x.R.Context(), func(path string, data []byte) error {
		w, err := packed.Create("ledger/" + path)
		if err == nil {
			_, err = w.Write(data)
		}
		return err
	})
	if err == nil {
		err = packed.Close()
	}
	return to.End(err)
}
