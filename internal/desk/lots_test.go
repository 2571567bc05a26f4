package desk_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
)

// A recall, or an earlier expiry, takes the trust from what was read with the lot after the time that it speaks of,
// although it arrives when the scope is ready; by page, by command and by file.
func TestLotsReachBack(t *testing.T) {
	const passes = "30"
	recalled, expired := "lot 7 of kit K is recalled", "lot 7 of kit K expired"
	for _, test := range []struct {
		name  string
		say   func(b *bench, at unit.Instant) desk.Receipt
		words string
	}{
		{"recalled", func(b *bench, at unit.Instant) desk.Receipt {
			base := b.base(record.Lot, "K|7")
			return b.must(func(w *desk.Work) (desk.Receipt, error) {
				return w.SettingUp().Recall(because("a notice"), "K|7", base, at)
			})
		}, recalled},
		{"recalled by an edition", func(b *bench, at unit.Instant) desk.Receipt {
			l := stands[quality.Lot](b, record.Lot, "K|7")
			l.Recalled = at
			return b.must(func(w *desk.Work) (desk.Receipt, error) { return w.SettingUp().RegisterLot(lead, b.at(), l) })
		}, recalled},
		{"recalled by a file", func(b *bench, at unit.Instant) desk.Receipt {
			b.mustList(desk.Lots, "K,7,"+written(stands[quality.Lot](b, record.Lot, "K|7").Expires)+","+written(at))
			return desk.Receipt{}
		}, recalled},
		{"expired earlier", func(b *bench, at unit.Instant) desk.Receipt {
			l := stands[quality.Lot](b, record.Lot, "K|7")
			l.Expires = at
			return b.must(func(w *desk.Work) (desk.Receipt, error) { return w.SettingUp().RegisterLot(lead, b.at(), l) })
		}, expired},
	} {
		t.Run(test.name, func(t *testing.T) {
			b := start(t)
			b.check(1000, 2)
			early := b.pass(time.Minute)
			b.use()
			b.verification(passes, passes, passes)
			b.finish()
			b.check(1000, 2)
			late := b.pass(time.Minute)
			b.wantState("before anybody says so", reprocessing.Ready, "")
			known := b.at()
			b.pass(time.Minute)
			l := stands[quality.Lot](b, record.Lot, "K|7")
			if test.words == recalled { // what came after the reading leaves it alone
				l.Recalled = late
				r := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.SettingUp().RegisterLot(lead, b.at(), l) })
				if len(r.Followed) != 0 {
					t.Errorf("recalled from after the reading: followed by %q", types(r.Followed))
				}
				b.pass(time.Minute)
				b.wantState("recalled from after the reading", reprocessing.Ready, "")
				base := b.base(record.Lot, "K|7")
				b.must(func(w *desk.Work) (desk.Receipt, error) {
					return w.SettingUp().TakeBackRecall(because("another lot was meant"), "K|7", base, "L-02")
				})
				b.pass(time.Minute)
			}
			r := test.say(b, early)
			if r.Fresh {
				wantFollowed(t, test.name, r, record.Suspect, record.Verification)
				mark := body[record.SuspectBody](t, r.Followed[0])
				if len(mark.Readings) != 3 || mark.Edition != r.Record.ID || mark.Lot != "7" || mark.At != early || mark.Check != "" {
					t.Errorf("%+v", mark)
				}
			}
			b.wantState(test.name, reprocessing.InReprocessing, test.words)
			if a := b.releaseAt(known, known); a.State != reprocessing.Ready {
				t.Errorf("as known then: %s", a.State)
			}
			b.rebuilt()
			b.wantState(test.name+", from the ledger alone", reprocessing.InReprocessing, test.words)
		})
	}
}

// What two people take back gives the trust back to what was read before the recall was on record; a reading over its
// action level counts all along.
func TestRecallTakenBackGivesTheTrustBack(t *testing.T) {
	b := start(t)
	b.check(1000, 2)
	since := b.pass(time.Minute)
	b.use()
	b.verification("30", "30", "30")
	b.finish()
	b.pass(time.Minute)
	base := b.base(record.Lot, "K|7")
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().Recall(because("a notice"), "K|7", base, since)
	})
	b.wantState("recalled", reprocessing.InReprocessing, "is recalled")
	b.pass(time.Minute)
	base = b.base(record.Lot, "K|7")
	r := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().TakeBackRecall(because("another lot was meant"), "K|7", base, "L-02")
	})
	if !slices.Contains(types(r.Followed), record.Void) {
		t.Errorf("followed by %q", types(r.Followed))
	}
	b.wantState("taken back by two", reprocessing.Ready, "")
	b.rebuilt()
}

// Of two dates of a lot of a kit the earlier one counts as long as both stand, also before it has come; two take one back.
func TestEarlierDateOfALotCounts(t *testing.T) {
	b := start(t)
	l := stands[quality.Lot](b, record.Lot, "K|7")
	right := l.Expires
	b.pass(time.Minute)
	l.Expires = right.Add(-24 * time.Hour)
	sooner := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.SettingUp().RegisterLot(lead, b.at(), l) })
	b.pass(time.Minute)
	longer := l
	longer.Expires = right
	prolong := func(w *desk.Work) (desk.Receipt, error) { return w.SettingUp().RegisterLot(lead, b.at(), longer) }
	b.refused(t, []refusal{{"prolonged", prolong, fault.Invalid, "lot 7 of kit K expires at " + l.Expires.In(b.desk.DB.Zone()) +
		" by what is on record: of two dates the earlier one counts" +
		"\nhint: use another lot; if the date was mistyped, two people void the record of it, then register the lot with the right one"}})
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(both(desk.Entry{Corrects: sooner.Record.ID, Reason: "mistyped"}))
	})
	if got := stands[quality.Lot](b, record.Lot, "K|7"); got.Expires != right {
		t.Errorf("voided by two: it expires at %s, want %s", got.Expires, right)
	}
}

// A lot that has expired is not made good by a later date, of whoever alone; neither before a reading nor after it.
func TestExpiredLotsStayExpired(t *testing.T) {
	b := start(t)
	l := stands[quality.Lot](b, record.Lot, "K|7")
	right := l.Expires
	s, at := b.sample()
	l.Expires = b.pass(time.Minute)
	shortened := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.SettingUp().RegisterLot(lead, b.at(), l) })
	b.pass(time.Minute)
	longer := l
	longer.Expires = right
	b.refused(t, []refusal{{"prolonged", func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().RegisterLot(lead, b.at(), longer)
	}, fault.Invalid, "lot 7 of kit K expired at " + l.Expires.In(b.desk.DB.Zone()) + ": a later date does not make it good" +
		"\nhint: use another lot; if the date was mistyped, two people void the record of it, then register the lot with the right one"}})
	_, told := b.mustList(desk.Lots, "K,7,"+written(right)+",")
	if got := stands[quality.Lot](b, record.Lot, "K|7"); got.Expires != l.Expires || !strings.Contains(told[0].What, "it expired at ") {
		t.Errorf("prolonged by a file: %+v, told %q", got, told[0].What)
	}
	if j := b.entered(s, at, "10"); j.Outcome != reading.OK {
		t.Errorf("read before it expired: %s (%s)", j.Outcome, j.Why)
	}
	meanwhile, meanwhileRead := b.sample()
	b.pass(time.Minute)
	if err := b.attempt(b.as("L-01", 0), func(w *desk.Work) error {
		return only(w.Void(desk.Entry{By: "L-01", Corrects: shortened.Record.ID, Reason: "mistyped"}))
	}); err == nil {
		t.Error("one alone voided an earlier expiry")
	}
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(both(desk.Entry{Corrects: shortened.Record.ID, Reason: "mistyped"}))
	})
	if j := b.entered(meanwhile, meanwhileRead, "10"); j.Outcome != reading.OK {
		t.Errorf("mistyped, and voided by two: %s (%s)", j.Outcome, j.Why)
	}
}
