package store

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"rinsate/internal/base/unit"
)

// Verified is the result of a verification that found nothing wrong with the records.
type Verified struct {
	Site        string `json:"site"`
	Size        int64  `json:"size"`
	Root        string `json:"root"`
	Checkpoints int    `json:"checkpoints"`
	// Files is how many attached files there are, each counted once.
	Files int `json:"files"`
	// Texts are the free texts.
	Texts Texts `json:"texts"`
	// Tables are those that differ from what follows from the records, Guards what is missing or foreign of what
	// keeps other programs from changing anything.
	Tables []Difference `json:"tables,omitempty"`
	Guards []string     `json:"guards,omitempty"`
	// Alone says that there was no checkpoint outside of the database to compare with.
	Alone bool `json:"no_checkpoint_outside,omitempty"`
}

// Texts are what a verification found of the free texts.
type Texts struct {
	// Whole is how many are what the ledger committed to, Erased how many were erased by a record.
	Whole  int `json:"whole"`
	Erased int `json:"erased"`
}

// Difference is how one table differs from what follows from the ledger. A row that was changed counts twice: as
// one that is missing, and as one that nothing on record accounts for.
type Difference struct {
	Table   string `json:"table"`
	Missing int    `json:"missing,omitempty"`
	Extra   int    `json:"extra,omitempty"`
	// Scopes are those that the rows bear on; All says that they may bear on any.
	Scopes []string `json:"scopes,omitempty"`
	All    bool     `json:"all_scopes,omitempty"`
}

// String is what a person reads of it.
func (d Difference) String() string {
	var parts []string
	if d.Missing > 0 {
		parts = append(parts, fmt.Sprintf("%d missing", d.Missing))
	}
	if d.Extra > 0 {
		parts = append(parts, fmt.Sprintf("%d that no record accounts for", d.Extra))
	}
	return fmt.Sprintf("table %s (rows: %s)", d.Table, strings.Join(parts, ", "))
}

// differing names the tables of differences in one line.
func differing(all []Difference) string {
	texts := make([]string, len(all))
	for i, d := range all {
		texts[i] = d.String()
	}
	return strings.Join(texts, ", ")
}

// Examination is what the last look at all records and all tables that follow from them has found. It is kept
// beside the database, for whoever asks later and for other programs on the same records.
type Examination struct {
	// At is when it ended, zero when nobody has looked yet; By is what looked: start, night, verify, doctor or rebuild.
	At unit.Instant `json:"at"`
	By string       `json:"by"`
	// Size is how many records there were.
	Size int64 `json:"size"`
	// Fault is in what the ledger contradicts itself, empty when it is whole; Since is when that was first found.
	Fault string       `json:"fault,omitempty"`
	Since unit.Instant `json:"since,omitzero"`
	// Tables are those that differed, Guards what was missing or foreign of what keeps other programs away.
	Tables []Difference `json:"tables,omitempty"`
	Guards []string     `json:"guards,omitempty"`
	// Rebuilt says that the tables were filled anew since, and follow from the ledger again.
	Rebuilt bool `json:"rebuilt,omitempty"`
}

// Good says that nothing was found.
func (e Examination) Good() bool {
	return e.At.Known() && e.Fault == "" && len(e.Tables) == 0 && len(e.Guards) == 0
}

// String is what was found, in one line.
func (e Examination) String() string {
	switch {
	case !e.At.Known():
		return "not compared yet"
	case e.Fault != "":
		return "the ledger contradicts itself: " + e.Fault
	case len(e.Tables) > 0 && e.Rebuilt:
		return "differed from the ledger and were rebuilt: " + differing(e.Tables)
	case len(e.Tables) > 0:
		return "differ from the ledger: " + differing(e.Tables)
	}
	return "follow from the ledger"
}

// Doubted says whether nothing that is said of a scope can be relied on.
func (e Examination) Doubted(scope string) bool {
	return e.Fault != "" || !e.Rebuilt && slices.ContainsFunc(e.Tables, func(d Difference) bool { return d.All || slices.Contains(d.Scopes, scope) })
}

// ReadExamination reads what Examine has kept, nil for nothing. What cannot be read counts as never looked.
func ReadExamination(text []byte) (e Examination) {
	if json.Unmarshal(text, &e) != nil {
		return Examination{}
	}
	return e
}

// NotKeptError is that what was found could not be kept, as in a folder that can only be read.
type NotKeptError struct{ Cause error }

func (e *NotKeptError) Error() string { return "what was found could not be kept: " + e.Cause.Error() }

func (e *NotKeptError) Unwrap() error { return e.Cause }
