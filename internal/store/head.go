package store

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strconv"
	"strings"
	"sync/atomic"

	"golang.org/x/mod/sumdb/tlog"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
)

// A database that is put back from a copy, or whose write-ahead log was deleted, is whole and old: nothing in it shows
// what it lacks. So whoever sees the ledger keeps where its end was: a small file outside of the database with every
// commit, and each browser at a bench. They keep a line (Head.line) that only this ledger's key could have made, so that
// nobody can raise an alarm by making one up.
//
// A line of more records than there are, or of another root for as many, tells that this is a copy, unless a record
// of the kind restore has said so since. Each line therefore names the last such record that its ledger had: one that
// names an older one was seen before that restore and is settled by it.

// Head is an end of the ledger as somebody has seen it.
type Head struct {
	Size int64
	Root tlog.Hash
	// Recorded is when its last record was written.
	Recorded unit.Instant
	// Restore is the last record of the kind restore that it had, empty for none.
	Restore ledger.ID
}

// HeadFormat begins every line of a head.
const HeadFormat = "h1"

// headKey derives the key of Head.line from the file of the signing key, as disguiseKey does.
func headKey(signing []byte) []byte {
	mac := hmac.New(sha256.New, []byte("rinsate head of the ledger"))
	mac.Write(signing)
	return mac.Sum(nil)
}

// line is the head as one line of text, with what only the holder of the key can add to it.
func (h Head) line(key []byte) string {
	text := strings.Join([]string{
		HeadFormat, strconv.FormatInt(h.Size, 10), hex.EncodeToString(h.Root[:]), strconv.FormatInt(int64(h.Recorded), 10), string(h.Restore),
	}, ".")
	return text + "." + hex.EncodeToString(sealHead(key, text))
}

func sealHead(key []byte, text string) []byte {
	mac := hmac.New(sha256.New, key)
	mac.Write([]byte(text))
	return mac.Sum(nil)
}

// readHead reads a line; ok is false for one that this key did not make.
func readHead(line string, key []byte) (h Head, ok bool) {
	text, seal, found := cutLast(line, ".")
	if !found {
		return h, false
	}
	given, err := hex.DecodeString(seal)
	if err != nil || !hmac.Equal(given, sealHead(key, text)) {
		return h, false
	}
	return parseHead(text)
}

func cutLast(text, sep string) (before, after string, found bool) {
	i := strings.LastIndex(text, sep)
	if i < 0 {
		return text, "", false
	}
	return text[:i], text[i+len(sep):], true
}

// parseHead reads what a line states.
func parseHead(text string) (h Head, ok bool) {
	parts := strings.Split(text, ".")
	if len(parts) != 5 || parts[0] != HeadFormat {
		return h, false
	}
	root, err := hex.DecodeString(parts[2])
	if err != nil || len(root) != len(h.Root) {
		return h, false
	}
	copy(h.Root[:], root)
	recorded, err := strconv.ParseInt(parts[3], 10, 64)
	if err != nil {
		return h, false
	}
	h.Recorded = unit.Instant(recorded)
	if h.Size, err = strconv.ParseInt(parts[1], 10, 64); err != nil || h.Size < 0 {
		return h, false
	}
	if parts[4] != "" {
		if h.Restore, err = ledger.ParseID(parts[4]); err != nil {
			return h, false
		}
	}
	return h, true
}

// Seer is who has seen a ledger of which this one lacks something.
type Seer string

// The seers.
const (
	AtBench    Seer = "a browser here"
	AtComputer Seer = "this computer"
)

// Behind is that these records are a copy, and what shows it.
type Behind struct {
	By Seer
	// Seen is the ledger that was seen, Own how many records there are.
	Seen Head
	Own  int64
}

// String is what shows it, in words.
func (b Behind) String() string {
	if b.Seen.Size > b.Own {
		return fmt.Sprintf("%s has seen a larger ledger (%d records) than this copy has (%d)", b.By, b.Seen.Size, b.Own)
	}
	return fmt.Sprintf("%s has seen another ledger of %d records than this one was when it had as many", b.By, b.Seen.Size)
}

// heads is what a DB knows of the ends of its ledger outside of the database.
type heads struct {
	// key is that of Head.line.
	key []byte
	// behind is what shows that the records are a copy, and agreed the last line that they go on from.
	behind atomic.Pointer[Behind]
	agreed atomic.Pointer[string]
	// settled is the last restore that keep knows of. It is owned by the writer goroutine.
	settled ledger.ID
}

// found makes the records a copy until a restore is on record, and says whether that is news. Of all that shows it the
// one that saw most stays.
func (h *heads) found(b *Behind) bool {
	for {
		known := h.behind.Load()
		if known != nil && known.Seen.Size >= b.Seen.Size {
			return false
		}
		if h.behind.CompareAndSwap(known, b) {
			return true
		}
	}
}

// keep returns the line that is to be kept of the present end of the ledger, and whether a restore has just settled that
// the records are a copy. Until one has, what tells so is kept and not the end of the copy.
func (h *heads) keep(now Head) (line string, settled bool) {
	if now.Restore != h.settled {
		h.settled = now.Restore
		settled = h.behind.Swap(nil) != nil
	}
	if b := h.behind.Load(); b != nil {
		return b.Seen.line(h.key), settled
	}
	return now.line(h.key), settled
}
