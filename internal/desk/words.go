package desk

import (
	"rinsate/internal/base/ledger"
	"rinsate/internal/record"
)

// Words says in a line what a record holds, beyond its type and the scope, without times.
func (l Line) Words() string {
	words, err := record.Words(l.record())
	if err != nil {
		return "cannot be read: " + err.Error()
	}
	return words
}

// About says in a word what a record is about; empty where no word helps.
func (l Line) About() string {
	word, err := record.About(l.record())
	if err != nil {
		return ""
	}
	return word
}

// Scope returns the scope that a record is about; empty when it is about none.
func (l Line) Scope() string {
	tag, err := record.ScopeOf(l.record())
	if err != nil {
		return ""
	}
	return tag
}

// record returns what the line tells of its record.
func (l Line) record() ledger.Record {
	r := ledger.Record{
		Seq: l.Seq, ID: ledger.ID(l.ID), Type: string(l.Type), At: l.At, Recorded: l.Recorded, Corrects: ledger.ID(l.Corrects), By: l.By,
		Reason: l.Reason, Body: l.Body, BodyVersion: record.BodyVersion(l.Type),
	}
	return r
}
