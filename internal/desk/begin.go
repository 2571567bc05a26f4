package desk

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/identity"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Beginning is what a facility says about itself before its first record.
type Beginning struct {
	Site record.SiteBody
	// Rules is the text of the rule set to begin with, RulesName the name of its file.
	Rules     []byte
	RulesName string
	// By is the code of whoever begins.
	By string
	// Meter and Lot are the first of the facility, First is whoever can sign in first; nil where there
	// is none yet.
	Meter *quality.Meter
	Lot   *quality.Lot
	First *identity.NewAccount
	// Cost is how slow the hash of the first password is; the zero value stands for access.Standard.
	Cost access.Cost
}

// Fault is what is wrong with one part of a beginning.
type Fault struct {
	// Part is site, name, zone, terms, rules, meter, lot, code, person or password.
	Part string
	Err  error
}

// longestName bounds the name of a facility, in characters.
const longestName = 100

// longestSiteCode is how long the code of a site may be: it is part of every record.
const longestSiteCode = 16

// CheckSiteCode refuses a code that cannot stand for a site in records and in the name of its ledger: 1
// to 16 letters, digits and hyphens, a letter or digit first.
func CheckSiteCode(code string) error {
	plain := func(c rune) bool { return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' }
	if code == "" || len(code) > longestSiteCode || !plain(rune(code[0])) || strings.ContainsFunc(code, func(c rune) bool { return !plain(c) && c != '-' }) {
		return invalid("%q cannot be the code of a site; use 1 to %d letters, digits and hyphens, such as NORTH", code, longestSiteCode)
	}
	return nil
}

// SuggestSiteCode makes a code from the name of a facility: the first letters of its words, or the
// beginning of its only word. It is empty when the name has nothing to make one of.
func SuggestSiteCode(name string) string {
	const shortest, most = 2, 6
	words := strings.FieldsFunc(strings.ToUpper(name), func(c rune) bool { return (c < 'A' || c > 'Z') && (c < '0' || c > '9') && c < utf8.RuneSelf })
	var first, plain []string
	for _, w := range words {
		w = strings.Map(func(c rune) rune {
			if c >= utf8.RuneSelf || !unicode.IsLetter(c) && !unicode.IsDigit(c) {
				return -1
			}
			return c
		}, w)
		if w != "" {
			first, plain = append(first, w[:1]), append(plain, w)
		}
	}
	switch {
	case len(plain) == 0:
		return ""
	case len(first) < shortest:
		return plain[0][:min(len(plain[0]), most)]
	}
	return strings.Join(first[:min(len(first), most)], "")
}

// Faults lists everything that keeps the facility from beginning, each with the part that it is about.
func (b Beginning) Faults(now unit.Instant) []Fault {
	var faults []Fault
	add := func(part string, err error) {
		if err != nil {
			faults = append(faults, Fault{part, err})
		}
	}
	if n := utf8.RuneCountInString(b.Site.Name); strings.TrimSpace(b.Site.Name) == "" || n > longestName || !utf8.ValidString(b.Site.Name) {
		add("name", invalid("the name of the facility must have 1 to %d characters", longestName))
	}
	add("site", CheckSiteCode(b.Site.Code))
	if _, err := time.LoadLocation(b.Site.Zone); err != nil || b.Site.Zone == "" || b.Site.Zone == "Local" {
		add("zone", invalid("choose a time zone such as Europe/Berlin"))
	}
	if b.Site.Terms != "" && !slices.Contains(record.AllTerms, b.Site.Terms) {
		add("terms", invalid("choose the terms of the United States or of the United Kingdom"))
	}
	if _, err := policy.Parse(b.RulesName, b.Rules); err != nil {
		add("rules", refuse(err))
	}
	if b.Meter != nil {
		add("meter", refuse(b.Meter.Check()))
	}
	if b.Lot != nil {
		if err := b.Lot.Check(); err != nil {
			add("lot", refuse(err))
		} else if why := b.Lot.Fault(now); why != "" {
			add("lot", invalid("%s", why))
		}
	}
	return append(faults, b.firstFaults()...)
}

// firstFaults judges whoever signs in first.
func (b Beginning) firstFaults() []Fault {
	if b.First == nil {
		return nil
	}
	var faults []Fault
	if err := access.CheckCode(b.First.Code); err != nil {
		faults = append(faults, Fault{"code", refuse(err)})
	} else if err := b.First.Check(); err != nil {
		faults = append(faults, Fault{"person", err})
	}
	if err := access.CheckPassword(b.First.Password, false, b.Site.Name, b.Site.Code, b.First.Code, b.First.Name); err != nil {
		faults = append(faults, Fault{"password", refuse(err)})
	}
	return faults
}

// Begin makes a ledger in a home, with everything in it that the beginning says, or nothing.
func (b Beginning) Begin(ctx context.Context, home store.Home, clock func() time.Time) (*store.DB, error) {
	if b.Site.Origin == "" {
		b.Site.Origin = "rinsate.local/" + b.Site.Code
	}
	if b.Site.Terms == "" {
		b.Site.Terms = record.AllTerms[0]
	}
	if b.Cost == (access.Cost{}) {
		b.Cost = access.Standard
	}
	return home.Begin(ctx, b.Site, clock, func(db *store.DB) error {
		d := New(db)
		if err := d.As(access.Operator(b.By)).Do(ctx, b.register); err != nil {
			return err
		}
		if b.First == nil {
			return nil
		}
		_, _, err := identity.NewDoor(db, b.Cost).AddAccount(ctx, identity.Entry{Actor: access.Operator(b.By)}, *b.First)
		return err
	})
}

// register records what there is at the beginning.
func (b Beginning) register(w *Work) error {
	e := Entry{By: b.By}
	if _, _, err := w.SettingUp().AdoptRules(e, Adoption{At: w.Now(), Name: filepath.Base(b.RulesName), Text: b.Rules}); err != nil {
		return err
	}
	var errs []error
	if b.First != nil {
		role := ""
		if len(b.First.Roles) > 0 {
			role = string(b.First.Roles[0])
		}
		_, err := w.SettingUp().RegisterPerson(e, w.Now(), record.PersonBody{Code: b.First.Code, Role: role})
		errs = append(errs, err)
	}
	if b.Meter != nil {
		_, err := w.SettingUp().RegisterMeter(e, w.Now(), *b.Meter)
		errs = append(errs, err)
	}
	if b.Lot != nil {
		_, err := w.SettingUp().RegisterLot(e, w.Now(), *b.Lot)
		errs = append(errs, err)
	}
	if err := errors.Join(errs...); err != nil {
		return fmt.Errorf("the first records: %w", err)
	}
	return nil
}
