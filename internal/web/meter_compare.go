package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"rinsate/internal/desk"
	"rinsate/internal/figure"
	"rinsate/internal/quality"
	"rinsate/internal/stats"
	"rinsate/internal/store"
	"rinsate/internal/unit"
)

// What is compared, as ?what= names it.
const (
	lotsCompared   = "lots"
	metersCompared = "meters"
)

// setupsPage compares a new lot or meter with the old one.
type setupsPage struct {
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
	// Pairs is where the pairs are sent.
	Pairs string
}

// lotChoice is a lot of a kit in one field.
type lotChoice struct {
	Value, Text   string
	Old, New      bool
	kit, lot, key string
}

// pastedForm is a table that was sent and not accepted.
type pastedForm struct{ Text, Problem string }

// comparison is the answer, in words first.
type comparison struct {
	Mark mark
	// Said is the answer as a sentence, Why what it rests on.
	Said, Why string
	// Same says that the same samples were read with both.
	Same    bool
	Source  string
	N       int
	Ratio   string
	Rows    [][]string
	Power   []string
	Ratios  picture
	Limits  picture
	HasDraw bool
	Pairs   []pairRow
}

type pairRow struct{ Sample, Old, New, Ratio string }

func (s *Server) compare(x *exchange) error {
	return s.setupsPage(x, http.StatusOK, nil, pastedForm{})
}

// comparePairs compares by pairs of the same samples from a table that is sent along and not kept.
func (s *Server) comparePairs(x *exchange) error {
	name, content, err := x.pasted()
	var pairs []quality.Pair
	if err == nil {
		pairs, err = readPasted(name, content, desk.PairColumns(), desk.ReadPairs)
	}
	if err == nil {
		return s.setupsPage(x, http.StatusOK, pairs, pastedForm{Text: string(content)})
	}
	status, words, ok := refused(x, err)
	if !ok {
		return err
	}
	return s.setupsPage(x, status, nil, pastedForm{Text: x.r.PostFormValue("table"), Problem: words})
}

// setupsPage shows the comparison of the setups that the address names: by pairs of the same samples
// where there are any, else by stored readings.
func (s *Server) setupsPage(x *exchange, status int, pairs []quality.Pair, table pastedForm) error {
	q := x.r.URL.Query()
	page := setupsPage{What: q.Get("what"), Kit: q.Get("kit"), Old: q.Get("old"), New: q.Get("new"), Margin: q.Get("margin"), Table: table}
	plan := quality.DefaultPlan()
	if page.Margin == "" {
		page.Margin = plan.Margin.String()
	}
	var err error
	if page.studied, err = x.studied(); err != nil {
		return err
	}
	if err := s.setupChoices(x.r.Context(), &page); err != nil {
		return err
	}
	page.Chosen = page.Old != "" && page.New != ""
	if !page.Chosen {
		if table.Problem == "" && len(pairs) > 0 {
			page.Problem, status = "Choose what is compared first.", http.StatusBadRequest
		}
		return x.show(status, "compare-meters", false, page)
	}
	address := page.query()
	for name, value := range map[string]string{"what": page.What, "kit": page.Kit, "old": page.Old, "new": page.New, "margin": page.Margin} {
		address.Set(name, value)
	}
	page.Address, page.Pairs = s.url("/meters/compare?"+address.Encode()), s.url("/meters/compare?"+address.Encode()+"#answer")
	if page.Answer, err = s.compared(x.r.Context(), page, plan, pairs); err != nil {
		code, words, ok := refused(x, err)
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
	return x.show(status, "compare-meters", false, page)
}

// setupChoices fills in what can be chosen.
func (s *Server) setupChoices(ctx context.Context, page *setupsPage) error {
	return s.view(ctx, func(v desk.View) error {
		lots, err := v.Lots()
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
		meters, err := v.Meters()
		for _, m := range meters {
			page.Meters = append(page.Meters, m.Code)
		}
		return err
	})
}

// lotValue names a lot of a kit in one field of a form.
func lotValue(kit, lot string) string { return url.Values{"kit": {kit}, "lot": {lot}}.Encode() }

// setups returns what is compared.
func (p setupsPage) setups(v desk.View) (old, new quality.Setup, err error) {
	if p.Old == p.New {
		return old, new, &pageError{status: http.StatusBadRequest, message: "The old and the new are the same.", hint: "Choose two different ones."}
	}
	switch p.What {
	case lotsCompared:
		first, err1 := url.ParseQuery(p.Old)
		second, err2 := url.ParseQuery(p.New)
		if err := errors.Join(err1, err2); err != nil || first.Get("kit") == "" || second.Get("kit") == "" {
			return old, new, &pageError{status: http.StatusBadRequest, message: "Choose both lots from the list."}
		}
		if first.Get("kit") != second.Get("kit") {
			return old, new, &pageError{status: http.StatusBadRequest, message: "The lots are of different kits.", hint: "Readings of different kits are never brought together: a new kit needs levels of its own."}
		}
		return v.LotSetups(first.Get("kit"), first.Get("lot"), second.Get("lot"))
	case metersCompared:
		if p.Kit == "" {
			return old, new, &pageError{status: http.StatusBadRequest, message: "Choose the kit that is read with both meters."}
		}
		if old, err = v.Setup(p.Old, p.Kit, ""); err != nil {
			return old, new, err
		}
		new, err = v.Setup(p.New, p.Kit, "")
		return old, new, err
	}
	return old, new, &pageError{status: http.StatusBadRequest, message: "Lots or meters can be compared.", hint: "Write what=lots or what=meters."}
}

// compared answers, from pairs or from what is stored.
func (s *Server) compared(ctx context.Context, page setupsPage, plan quality.Plan, pairs []quality.Pair) (*comparison, error) {
	margin, err := unit.ParseNumber(strings.TrimSpace(page.Margin))
	plan.Margin = margin
	if err != nil || plan.Check() != nil {
		return nil, &pageError{status: http.StatusBadRequest, message: fmt.Sprintf("%q is no margin.", page.Margin), hint: "Write a ratio over 1, such as 1.25."}
	}
	var old, new quality.Setup
	if err := s.view(ctx, func(v desk.View) (err error) {
		old, new, err = page.setups(v)
		return err
	}); err != nil {
		return nil, err
	}
	c := &comparison{Same: pairs != nil, Source: "pairs of readings of the same samples"}
	if pairs == nil {
		size, err := s.size(ctx)
		if err != nil {
			return nil, err
		}
		all, err := s.firsts(ctx, size, page.studied)
		if err != nil {
			return nil, err
		}
		pairs = desk.FieldPairsOf(all, old, new)
		c.Source = fmt.Sprintf("stored readings from %s to %s", page.From, page.To)
	}
	found, err := plan.Paired(old, new, pairs)
	if errors.Is(err, stats.ErrArgument) {
		return nil, &store.Error{Code: store.Invalid, Message: strings.TrimSuffix(err.Error(), ": "+stats.ErrArgument.Error())}
	}
	if err != nil {
		return nil, &store.Error{Code: store.Invalid, Message: err.Error()}
	}
	return c, c.fill(found, pairs, plan)
}

// fill puts the answer into words, numbers and pictures.
func (c *comparison) fill(found quality.Paired, pairs []quality.Pair, plan quality.Plan) error {
	c.N, c.Why = len(pairs), sentence(found.Why)
	switch found.Answer {
	case quality.SameLevel:
		c.Mark, c.Said = mark{"same level", "✓", "ready"}, "The same level may stay."
	case quality.NewLevel:
		c.Mark, c.Said = mark{"new level", "▲", "action"}, "A new level is needed."
	case quality.TooFew:
		c.Mark, c.Said = mark{"too few", "○", "unknown"}, fmt.Sprintf("Too few pairs to say: take %d more.", found.More)
	}
	for _, p := range pairs {
		c.Pairs = append(c.Pairs, pairRow{p.Sample, fmt.Sprintf("%.1f", float64(p.Old)), fmt.Sprintf("%.1f", float64(p.New)), fmt.Sprintf("%.2f", float64(p.New/p.Old))})
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
	c.Ratios, c.Limits = pictured("ratios", figure.Ratios("Ratios of new to old", pairs, found, plan)), pictured("limits", figure.Agreement("Mean ratio and limits of agreement", found))
	return c.plan(found, plan)
}

// plan says how much the pairs can show and how many would do.
func (c *comparison) plan(found quality.Paired, plan quality.Plan) error {
	sd := found.Agreement.SD
	power, err := plan.PairsPower(c.N, sd, 1)
	if err != nil {
		return err
	}
	c.Power = append(c.Power, fmt.Sprintf("With this spread, %d pairs show that a level may stay with a probability of %.0f %% if new and old truly read the same.", c.N, 100*power))
	for _, truth := range []struct {
		ratio float64
		words string
	}{{1, "if they truly read the same"}, {found.Ratio, fmt.Sprintf("if the true ratio is the one seen, %.2f", found.Ratio)}} {
		n, ok, err := plan.Pairs(sd, truth.ratio)
		if err != nil {
			return err
		}
		if ok {
			c.Power = append(c.Power, fmt.Sprintf("%d pairs are needed for a probability of %.0f %% %s.", max(n, plan.MinPairs), 100*plan.Power.Float(), truth.words))
		} else {
			c.Power = append(c.Power, fmt.Sprintf("Not even %d pairs are enough for a probability of %.0f %% %s.", plan.MostPairs, 100*plan.Power.Float(), truth.words))
		}
	}
	return nil
}
