package web

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"unicode/utf8"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/quality"
	"rinsate/internal/present/figure"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
)

// What is compared, as ?what= names it.
const (
	lotsCompared   = "lots"
	metersCompared = "meters"
)

// readLots compares a new lot or meter with the old one.
type lotsPage struct {
	studied
	What, Kit, Old, New, Margin string
	Lots                        []lotChoice
	Kits, Meters                []string
	// Chosen says that two are named, so that there is an answer or at least the form for pairs.
	Chosen bool
	// Address is that of the page without the answer for pairs.
	Address string
	Answer  *comparison
	// Problem is what is wrong with what was asked for; Table with the table that was sent.
	Problem string
	Table   pastedForm
	// Pairs is where the pairs are sent, Record where the comparison is recorded; empty for whoever may not.
	Pairs, Record string
	// ID is that of the record, so that sending it twice stores it once.
	ID string
}

// lotChoice is a lot of a kit in one field.
type lotChoice struct {
	Value, Text string
	Old, New    bool
}

// pastedForm is a table that was sent and not accepted.
type pastedForm struct{ Text, Problem string }

// comparison is the answer, in words first.
type comparison struct {
	Mark words.Mark
	// Said is the answer as a sentence, Why what it rests on.
	Said, Why string
	// Same says that the same samples were read with both.
	Same    bool
	Source  string
	N       int
	Ratio   string
	Rows    [][]string
	Power   []string
	Ratios  kit.Picture
	Limits  kit.Picture
	HasDraw bool
	Pairs   []pairRow
}

type pairRow struct{ Sample, Old, New, Ratio string }

func (s meterPages) compare(x *kit.Exchange) error {
	return s.lotsPage(x, http.StatusOK, nil, pastedForm{})
}

// comparePairs compares by pairs of the same samples from a table that is sent along and not kept.
func (s meterPages) comparePairs(x *kit.Exchange) error {
	name, content, err := x.Pasted()
	var pairs []quality.Pair
	if err == nil {
		pairs, err = kit.ReadPasted(name, content, desk.PairColumns(), desk.ReadPairs)
	}
	if err == nil {
		return s.lotsPage(x, http.StatusOK, pairs, pastedForm{Text: string(content)})
	}
	status, words, ok := kit.Refused(x, err)
	if !ok {
		return err
	}
	return s.lotsPage(x, status, nil, pastedForm{Text: x.R.PostFormValue("table"), Problem: words})
}

// readLots reads what is compared from the address.
func readLots(x *kit.Exchange) (lotsPage, error) {
	q := x.R.URL.Query()
	page := lotsPage{
		What:   q.Get("what"),
		Kit:    q.Get("kit"),
		Old:    q.Get("old"),
		New:    q.Get("new"),
		Margin: cmp.Or(q.Get("margin"), quality.DefaultPlan().Margin.String()),
	}
	var err error
	page.studied, err = readStudied(x)
	page.Chosen = page.Old != "" && page.New != ""
	return page, err
}

// readLots shows the comparison of the setups that the address names: by pairs of the same samples
// where there are any, else by stored readings.
func (s meterPages) lotsPage(x *kit.Exchange, status int, pairs []quality.Pair, table pastedForm) error {
	page, err := readLots(x)
	if err != nil {
		return err
	}
	page.Table = table
	if err := s.compareChoices(x.R.Context(), &page); err != nil {
		return err
	}
	if !page.Chosen {
		if table.Problem == "" && len(pairs) > 0 {
			page.Problem, status = "Choose what is compared first.", http.StatusBadRequest
		}
		return x.Show(status, "compare-lots", false, page)
	}
	address := page.query()
	for name, value := range map[string]string{"what": page.What, "kit": page.Kit, "old": page.Old, "new": page.New, "margin": page.Margin} {
		address.Set(name, value)
	}
	page.Address, page.Pairs = s.URL("/meters/compare?"+address.Encode()), s.URL("/meters/compare?"+address.Encode()+"#answer")
	if x.Can(desk.ToRecordComparison) && utf8.ValidString(table.Text) {
		page.Record, page.ID = s.URL("/meters/compare/records?"+address.Encode()), x.Form(kit.Sent{}, "record").ID
	}
	if page.Answer, err = s.answer(x.R.Context(), page, pairs); err != nil {
		code, words, ok := kit.Refused(x, err)
		if !ok {
			return err
		}
		status = code
		if pairs != nil {
			page.Table.Problem = words
		} else {
			page.Problem = words
		}
	}
	return x.Show(status, "compare-lots", false, page)
}

// compareChoices fills in what can be chosen.
func (s meterPages) compareChoices(ctx context.Context, page *lotsPage) error {
	return s.View(ctx, func(v desk.View) error {
		lots, err := v.Day().Lots()
		if err != nil {
			return err
		}
		for _, l := range slices.Backward(lots) {
			c := lotChoice{Value: lotValue(l.Kit, l.Lot), Text: l.Kit + ", lot " + l.Lot}
			c.Old, c.New = c.Value == page.Old, c.Value == page.New
			page.Lots = append(page.Lots, c)
			if !slices.Contains(page.Kits, l.Kit) {
				page.Kits = append(page.Kits, l.Kit)
			}
		}
		slices.SortFunc(page.Lots, func(a, b lotChoice) int { return strings.Compare(a.Text, b.Text) })
		slices.Sort(page.Kits)
		meters, err := v.Measuring().Meters()
		for _, m := range meters {
			page.Meters = append(page.Meters, m.Code)
		}
		return err
	})
}

// lotValue names a lot of a kit in one field of a form.
func lotValue(kit, lot string) string { return url.Values{"kit": {kit}, "lot": {lot}}.Encode() }

// setups returns what is compared.
func (p lotsPage) setups(v desk.View) (old, new quality.Setup, err error) {
	if p.Old == p.New {
		return old, new, &kit.PageError{Status: http.StatusBadRequest, Message: "The old and the new are the same.", Hint: "Choose two different ones."}
	}
	switch p.What {
	case lotsCompared:
		first, err1 := url.ParseQuery(p.Old)
		second, err2 := url.ParseQuery(p.New)
		if err := errors.Join(err1, err2); err != nil || first.Get("kit") == "" || second.Get("kit") == "" {
			return old, new, &kit.PageError{Status: http.StatusBadRequest, Message: "Choose both lots from the list."}
		}
		if first.Get("kit") != second.Get("kit") {
			return old, new, &kit.PageError{
				Status:  http.StatusBadRequest,
				Message: "The lots are of different kits.",
				Hint:    "Readings of different kits are never brought together: a new kit needs levels of its own.",
			}
		}
		return v.Measuring().LotSetups(first.Get("kit"), first.Get("lot"), second.Get("lot"))
	case metersCompared:
		if p.Kit == "" {
			return old, new, &kit.PageError{Status: http.StatusBadRequest, Message: "Choose the kit that is read with both meters."}
		}
		if old, err = v.Measuring().Setup(p.Old, p.Kit, ""); err != nil {
			return old, new, err
		}
		new, err = v.Measuring().Setup(p.New, p.Kit, "")
		return old, new, err
	}
	return old, new, &kit.PageError{Status: http.StatusBadRequest, Message: "Lots or meters can be compared.", Hint: "Write what=lots or what=meters."}
}

// compared is a comparison as it was computed.
type compared struct {
	old, new quality.Setup
	plan     quality.Plan
	pairs    []quality.Pair
	found    quality.Paired
}

// compared compares what the page names, by pairs or, where there are none, by what is stored.
func (s meterPages) compared(ctx context.Context, page lotsPage, pairs []quality.Pair) (c compared, err error) {
	c.plan, c.pairs = quality.DefaultPlan(), pairs
	if c.plan.Margin, err = unit.ParseNumber(strings.TrimSpace(page.Margin)); err != nil || c.plan.Check() != nil {
		return c, &kit.PageError{
			Status:  http.StatusBadRequest,
			Message: fmt.Sprintf("%q is no margin.", page.Margin),
			Hint:    "Write a ratio over 1, such as 1.25.",
		}
	}
	if err := s.View(ctx, func(v desk.View) (err error) {
		c.old, c.new, err = page.setups(v)
		return err
	}); err != nil {
		return c, err
	}
	if pairs == nil {
		size, err := s.size(ctx)
		if err != nil {
			return c, err
		}
		all, err := s.firsts(ctx, size, page.studied)
		if err != nil {
			return c, err
		}
		c.pairs = desk.FieldPairsOf(all, c.old, c.new)
	}
	if c.found, err = c.plan.Paired(c.old, c.new, c.pairs); err != nil {
		return c, &fault.Error{Code: fault.Invalid, Message: strings.TrimSuffix(err.Error(), ": "+stats.ErrArgument.Error())}
	}
	return c, nil
}

// answer is the comparison in words, numbers and pictures.
func (s meterPages) answer(ctx context.Context, page lotsPage, pairs []quality.Pair) (*comparison, error) {
	c, err := s.compared(ctx, page, pairs)
	if err != nil {
		return nil, err
	}
	a := &comparison{Same: pairs != nil}
	if !a.Same {
		a.Source = fmt.Sprintf("stored readings from %s to %s", page.From, page.To)
	}
	return a, a.fill(s.Terms, c.found, c.pairs, c.plan)
}

// recordComparison keeps a comparison as a record, computed anew from what is stored or from the pairs that
// come with it.
func (s meterPages) recordComparison(x *kit.Exchange) error {
	if err := x.R.ParseMultipartForm(2 * kit.TableLimit); err != nil {
		return &kit.PageError{Status: http.StatusBadRequest, Message: "The form did not arrive whole.", Hint: "Open the page anew and send it again."}
	}
	page, err := readLots(x)
	if err != nil {
		return err
	}
	e, err := x.Entry(kit.FormOf(x.R.PostForm))
	if err != nil {
		return err
	}
	var pairs []quality.Pair
	if table := x.R.PostFormValue("table"); table != "" {
		if pairs, err = kit.ReadPasted("table", []byte(table), desk.PairColumns(), desk.ReadPairs); err != nil {
			return err
		}
	}
	c, err := s.compared(x.R.Context(), page, pairs)
	if err != nil {
		return err
	}
	if err := x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
		_, err := w.OnSignals().RecordComparison(e, c.old, c.new, c.plan, c.pairs, c.found)
		return err
	}); err != nil {
		return err
	}
	return x.Redirect("/records/" + string(e.ID))
}

// fill puts the answer into words, numbers and pictures.
func (c *comparison) fill(t words.Terms, found quality.Paired, pairs []quality.Pair, plan quality.Plan) error {
	c.N, c.Why = len(pairs), kit.Sentence(found.Why)
	switch found.Answer {
	case quality.SameLevel:
		c.Mark, c.Said = t.Mark(words.SameLevel), "The same level may stay."
	case quality.NewLevel:
		c.Mark, c.Said = t.Mark(words.NewLevel), "A new level is needed."
	case quality.TooFew:
		c.Mark, c.Said = t.Mark(words.TooFewPairs), fmt.Sprintf("Too few pairs to say: take %d more.", found.More)
	}
	for _, p := range pairs {
		c.Pairs = append(
			c.Pairs,
			pairRow{p.Sample, fmt.Sprintf("%.1f", float64(p.Old)), fmt.Sprintf("%.1f", float64(p.New)), fmt.Sprintf("%.2f", float64(p.New/p.Old))},
		)
	}
	if !(found.Ratio > 0) {
		return nil
	}
	interval := func(i stats.Interval) string { return fmt.Sprintf("%.2f to %.2f", i.Lo, i.Hi) }
	c.Rows = [][]string{
		{"mean ratio, new to old", fmt.Sprintf("%.3f", found.Ratio), interval(found.RatioCI)},
		{"lower limit of agreement", fmt.Sprintf("%.2f", found.Limits.Lo), interval(found.LowerCI)},
		{"upper limit of agreement", fmt.Sprintf("%.2f", found.Limits.Hi), interval(found.UpperCI)},
	}
	c.HasDraw = true
	c.Ratios, c.Limits = kit.Pictured(
		"ratios",
		figure.Ratios("Ratios of new to old", pairs, found, plan),
	), kit.Pictured(
		"limits",
		figure.Agreement("Mean ratio and limits of agreement", found),
	)
	return c.plan(found, plan)
}

// plan says how much the pairs can show and how many would do.
func (c *comparison) plan(found quality.Paired, plan quality.Plan) error {
	sd := found.Agreement.SD
	power, err := plan.PairsPower(c.N, sd, 1)
	if err != nil {
		return err
	}
	c.Power = append(
		c.Power,
		fmt.Sprintf("With this spread, %d pairs show that a level may stay with a probability of %.0f %% if new and old truly read the same.", c.N, 100*power),
	)
	for _, truth := range []struct {
		ratio float64
		words string
	}{{1, "if they truly read the same"}, {found.Ratio, fmt.Sprintf("if the true ratio is the one seen, %.2f", found.Ratio)}} {
		n, ok, err := plan.Pairs(sd, truth.ratio)
		if err != nil {
			return err
		}
		if ok {
			c.Power = append(
				c.Power,
				fmt.Sprintf("%d pairs are needed for a probability of %.0f %% %s.", max(n, plan.MinPairs), 100*plan.Power.Float(), truth.words),
			)
		} else {
			c.Power = append(
				c.Power,
				fmt.Sprintf("Not even %d pairs are enough for a probability of %.0f %% %s.", plan.MostPairs, 100*plan.Power.Float(), truth.words),
			)
		}
	}
	return nil
}
