// Package record answers what kinds of records there are and what each of them is: its body, where it
// belongs, what it is found by, and what may take its place.
//
// It reads and writes no table and decides nothing about a scope: package store asks it where a record
// goes, package desk whether a record may be taken back. Read Kind first; then one of the kinds, such as
// hold.go.
package record

//go:generate go test -run TestTableOfKinds -update .
