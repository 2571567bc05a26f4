package web

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/scope"
	"rinsate/internal/present/figure"
	"rinsate/internal/record"
	"rinsate/internal/web/kit"
)

// lessBySecond is when somebody else signs what describes the fleet.
const lessBySecond = "Only where it asks for less than before, such as a sampling point or an elevator that is left out: one who may register it too."

// modelRegistry are the models of scopes with their channels and sampling points.
func modelRegistry() registry {
	return registry{
		path: "models", wild: "model", word: "model", one: "model", many: "models",
		about: "A model describes every scope of one kind from one maker: its channels with bore and length, and from these the places that are sampled.",
		typ:   record.Model, act: desk.ToRegisterModel, second: lessBySecond, body: decoded[scope.Model],
		key:   func(b any) string { return b.(scope.Model).Name },
		title: func(b any) string { return b.(scope.Model).Name },
		list:  listModels, fields: modelFields, values: modelValues, blank: blankModel, read: readModel,
		save: func(w *desk.Work, e desk.Entry, at unit.Instant, b any) (desk.Receipt, error) {
			r, _, err := w.SettingUp().RegisterModel(e, at, b.(scope.Model))
			return r, err
		},
		preview: func(x *kit.Exchange, v desk.View, p *formPage, b any) error {
			m := b.(scope.Model)
			if err := m.Check(); err != nil {
				p.Problem = kit.Sentence(err.Error())
				return nil
			}
			drawing := kit.Pictured("look", figure.Schematic(x.Shell.Terms, m, nil, v.Zone()))
			p.Drawing, p.Points = &drawing, pointLines(x.Shell, m, false)
			var err error
			p.Warnings, err = v.Registry().ModelWarnings(m)
			return err
		},
		more: func(x *kit.Exchange, v desk.View, p *thingPage, b any) error {
			m := b.(scope.Model)
			drawing := kit.Pictured("model", figure.Schematic(x.Shell.Terms, m, nil, v.Zone()))
			p.Drawing, p.Points = &drawing, pointLines(x.Shell, m, true)
			var err error
			if p.Warnings, err = v.Registry().ModelWarnings(m); err != nil {
				return err
			}
			return modelScopes(x, v, p, m)
		},
	}
}

func listModels(x *kit.Exchange, v desk.View, p *listPage) error {
	p.Columns = []string{"Model", "Kind", "Risk", "Channels", "In every verification", "Scopes"}
	models, err := v.Registry().Models()
	if err != nil {
		return err
	}
	fleet, err := v.Registry().Instruments()
	if err != nil {
		return err
	}
	count := map[string]int{}
	for _, i := range fleet {
		if !i.Retired.Known() {
			count[i.Model]++
		}
	}
	for _, m := range models {
		var points []string
		for _, k := range m.Routine() {
			points = append(points, text.Spaced(k))
		}
		row := plainCell(m.Name, m.Kind.Words(), string(m.Risk), strconv.Itoa(len(m.Channels)), strings.Join(points, ", "), strconv.Itoa(count[m.Name]))
		row[0].Href = modelRegistry().href(x.Shell, m.Name)
		p.add(row)
	}
	return nil
}

// modelScopes lists the scopes of a model.
func modelScopes(x *kit.Exchange, v desk.View, p *thingPage, m scope.Model) error {
	fleet, err := v.Registry().Instruments()
	if err != nil {
		return err
	}
	t := listPage{Title: "Scopes of this model", Columns: []string{"Scope", "Serial", "Place", "Standing"}}
	for _, i := range fleet {
		if i.Model == m.Name {
			row := append(plainCell(i.Tag, i.Serial, i.Location), cell{Mark: serviceMark(x.Shell.Terms, i.InService, i.Retired, x.Shell.Now())})
			row[0].Href = scopeRegistry().href(x.Shell, i.Tag)
			t.add(row)
		}
	}
	p.Tables = append(p.Tables, t)
	return nil
}

// whyPoint says why a model has a sampling point, and when it is sampled.
func whyPoint(m scope.Model, p scope.Point) (when, why string) {
	when = "on demand"
	switch {
	case p.NotApplicable != "":
		when = "never: " + p.NotApplicable
	case p.Routine:
		when = "in every cleaning verification"
	}
	switch p.Kind {
	case scope.OuterDistalEnd:
		why = "every scope has one"
	case scope.ElevatorRecess:
		why = "the model has an elevator"
	case scope.InstrumentLumen, scope.SuctionLumen, scope.ElevatorWire, scope.AirLumen, scope.WaterLumen, scope.AuxiliaryLumen, scope.BalloonLumen:
		why = "the model has this channel"
	}
	if len(m.Chosen) > 0 {
		return when, why + "; chosen by the facility"
	}
	return when, why + "; follows from the geometry (common practice)"
}

// pointLines are the sampling points of a model; with links, to how each is sampled.
func pointLines(s *kit.Shell, m scope.Model, links bool) []samplingPointLine {
	var lines []samplingPointLine
	for _, p := range m.Points() {
		l := samplingPointLine{Name: text.Spaced(p.Kind)}
		l.When, l.Why = whyPoint(m, p)
		if p.Area > 0 {
			l.Area = fmt.Sprintf("%.1f cm²", float64(p.Area))
		}
		if p.DeadVolume > 0 {
			l.Volume = fmt.Sprintf("%.1f mL", float64(p.DeadVolume))
		}
		if links {
			l.Href = modelRegistry().href(s, m.Name) + "/points/" + string(p.Kind)
		}
		lines = append(lines, l)
	}
	return lines
}

// Names of the fields of a model's channels and points.
func channelField(k scope.ChannelKind, name string) string { return string(k) + "-" + name }

func pointField(k scope.PointKind) string { return "point-" + string(k) }

// What a facility can say about a sampling point.
const (
	pointDerived = ""
	pointRoutine = "routine"
	pointDemand  = "demand"
	pointNone    = "none"
)

func modelFields(s *kit.Sheet, _ desk.View, old any) error {
	s.Part("Model", "")
	if old == nil {
		s.Text("name", "Name", "As the facility calls it, such as the maker's model number.", true)
	}
	s.Choose("kind", "Kind", "", kit.Choices(scope.Kinds)...)
	s.Choose(
		"risk",
		"Risk class",
		"High-risk scopes are sampled after every use (ANSI/AAMI ST91:2021); a facility may add models.",
		append([]kit.Option{{Value: "", Text: "as usual for the kind"}}, kit.Choices([]scope.Risk{scope.HighRisk, scope.StandardRisk})...)...)
	s.Box("elevator", "It has an elevator at its tip")
	s.Number("outer", "Outer diameter of the tip", "mm", true)
	s.Number("sampled", "Length of the tip that is swabbed", "mm", true)
	s.Text("instructions", "Instructions that this is taken from", "The maker's document with its edition.", false)
	for _, k := range scope.ChannelKinds {
		g := s.Part(capital(text.Spaced(k))+" channel", "")
		g.Folded, g.Open = true, s.Typed[channelField(k, "there")] == kit.Ticked
		s.Box(channelField(k, "there"), "It has this channel")
		s.Number(channelField(k, "bore"), "Bore", "mm", false)
		s.Number(channelField(k, "length"), "Length, port to tip", "mm", false)
		s.Text(channelField(k, "port"), "Port", "", false)
		s.Box(channelField(k, "brushable"), "Can be brushed")
		s.Box(channelField(k, "flushable"), "Can be flushed")
		s.Box(channelField(k, "sealed"), "Sealed: the user cannot flush it")
		s.Text(channelField(k, "cleaning"), "Cleaned by", "The act of manual cleaning that reaches it.", false)
	}
	s.Part("Sampling points", "What is left to the geometry follows from the channels. Choosing for one point makes the whole list the facility's own.")
	for _, k := range scope.PointKinds {
		s.Choose(
			pointField(k),
			capital(text.Spaced(k)),
			"",
			kit.Option{
				Value: pointDerived,
				Text:  "by the geometry",
			},
			kit.Option{Value: pointRoutine, Text: "in every cleaning verification"},
			kit.Option{Value: pointDemand, Text: "on demand"},
			kit.Option{Value: pointNone, Text: "not sampled"},
		)
	}
	return nil
}

func blankModel(unit.Instant, *time.Location) map[string]string {
	return map[string]string{"sampled": "100", "kind": string(scope.Duodenoscope)}
}

func modelValues(b any, _ *time.Location) map[string]string {
	m := b.(scope.Model)
	t := map[string]string{
		"name": m.Name, "kind": string(m.Kind), "risk": string(m.Risk), "elevator": kit.BoxText(m.Elevator),
		"outer": m.OuterDiameter.String(), "sampled": m.SampledLength.String(), "instructions": m.Instructions,
	}
	for _, c := range m.Channels {
		for name, value := range map[string]string{
			"there": kit.Ticked, "bore": c.Diameter.String(), "length": c.Length.String(), "port": c.Port, "brushable": kit.BoxText(c.Brushable),
			"flushable": kit.BoxText(c.Flushable), "sealed": kit.BoxText(c.Sealed), "cleaning": c.Cleaning,
		} {
			t[channelField(c.Kind, name)] = value
		}
	}
	if len(m.Chosen) > 0 {
		for _, p := range unchosen(m).Points() {
			t[pointField(p.Kind)] = pointNone
		}
	}
	for _, c := range m.Chosen {
		t[pointField(c.Kind)] = map[bool]string{true: pointRoutine, false: pointDemand}[c.Routine]
	}
	return t
}

// unchosen is a model with the points that follow from its geometry.
func unchosen(m scope.Model) scope.Model {
	m.Chosen = nil
	return m
}

// readModel makes a model of what was typed. A choice for one point makes a choice of all: the others are
// chosen as they follow from the geometry.
func readModel(a *kit.Reply, old any, _ string, _ unit.Instant) any {
	m := scope.Model{
		Name: a.Text("name"), Kind: scope.Kind(a.Text("kind")), Risk: scope.Risk(a.Text("risk")), Elevator: a.Yes("elevator"),
		OuterDiameter: unit.Millimetres(a.Number("outer")), SampledLength: unit.Millimetres(a.Number("sampled")), Instructions: a.Text("instructions"),
	}
	if m.Risk == "" {
		m.Risk = scope.UsualRisk(m.Kind)
	}
	kinds := scope.ChannelKinds
	if before, ok := old.(scope.Model); ok {
		m.Name, kinds = before.Name, channelOrder(before)
	}
	for _, k := range kinds {
		field := func(name string) string { return channelField(k, name) }
		if !a.Yes(field("there")) {
			continue
		}
		m.Channels = append(m.Channels, scope.Channel{
			Kind: k, Diameter: unit.Millimetres(a.Number(field("bore"))), Length: unit.Millimetres(a.Number(field("length"))), Port: a.Text(field("port")),
			Brushable: a.Yes(field("brushable")), Flushable: a.Yes(field("flushable")), Sealed: a.Yes(field("sealed")), Cleaning: a.Text(field("cleaning")),
		})
	}
	m.Chosen = readPoints(a, m)
	return m
}

// channelOrder are all kinds of channels, those of a model first and in its order: what is not changed
// stays where it was.
func channelOrder(m scope.Model) []scope.ChannelKind {
	var all []scope.ChannelKind
	for _, c := range m.Channels {
		all = append(all, c.Kind)
	}
	for _, k := range scope.ChannelKinds {
		if !slices.Contains(all, k) {
			all = append(all, k)
		}
	}
	return all
}

func readPoints(a *kit.Reply, m scope.Model) []scope.Choice {
	var chosen []scope.Choice
	own := false
	for _, k := range scope.PointKinds {
		derived, exists := m.Point(k)
		said := a.Text(pointField(k))
		switch {
		case said == pointRoutine || said == pointDemand: // also where the model lacks it, which is then refused
			chosen, own = append(chosen, scope.Choice{Kind: k, Routine: said == pointRoutine}), true
		case said == pointNone:
			own = own || exists
		case exists:
			chosen = append(chosen, scope.Choice{Kind: k, Routine: derived.Routine})
		}
	}
	if !own {
		return nil
	}
	return chosen
}

// protocolPage is how one sampling point of a model is sampled, in words and drawn.
type protocolPage struct {
	Model, ModelHref, Point     string
	When, Why                   string
	Area, Volume, Flush         string
	Method                      string
	AtHand                      []string
	Acts                        []actLine
	Clocks                      []string
	Shake                       string
	Citation, VerifiedBy        string
	Verified, Skipped           bool
	Drawing                     kit.Picture
	Rules, RulesHref, RulesEdit string
	Warnings                    []string
}

type actLine struct{ Do, Quantity, Invalid string }

// pointProtocol shows how a point of a model is sampled by the rules in force.
func (s setUpPages) pointProtocol(x *kit.Exchange) error {
	name, kind := x.R.PathValue("model"), scope.PointKind(x.R.PathValue("point"))
	page := protocolPage{Model: name, ModelHref: modelRegistry().href(s.Shell, name), Point: "The " + text.Spaced(kind)}
	err := s.View(x.R.Context(), func(v desk.View) error {
		guide, m, err := v.Registry().ModelGuide(name)
		if err != nil {
			return err
		}
		point, ok := m.Point(kind)
		if !ok {
			return kit.NotHere("Model %s has no sampling point %q.", name, kind)
		}
		page.Drawing = kit.Pictured("place", figure.Place(m, kind))
		page.When, page.Why = whyPoint(m, point)
		for _, p := range guide.Points {
			if p.Kind == kind {
				page.say(p, guide)
			}
		}
		rules, err := v.Registry().RulesEditions()
		if err != nil || len(rules) == 0 {
			return err
		}
		page.Rules, page.RulesHref = rules[len(rules)-1].Cite, s.URL("/set-up/rules#protocols")
		if x.Can(desk.ToAdoptFrom) {
			page.RulesEdit = s.URL("/set-up/rules/text")
		}
		return nil
	})
	if err != nil {
		return err
	}
	return x.Show(http.StatusOK, "set-up-point", false, page)
}

// say fills in how a point is sampled.
func (p *protocolPage) say(g desk.GuidePoint, guide desk.Guide) {
	p.Skipped = g.NotApplicable != ""
	p.Method, p.AtHand, p.Shake = string(g.Protocol.Method), g.Protocol.AtHand, guide.Shake.String()
	p.Citation, p.Verified, p.VerifiedBy = g.Protocol.Citation, g.Protocol.Verified, g.Protocol.VerifiedBy
	if g.Area > 0 {
		p.Area = fmt.Sprintf("%.1f cm²", float64(g.Area))
	}
	if g.DeadVolume > 0 {
		p.Volume = fmt.Sprintf("%.1f mL", float64(g.DeadVolume))
	}
	if flush := g.Protocol.Flush(); flush > 0 {
		p.Flush = flush.String() + " mL"
	}
	for _, a := range g.Protocol.Acts {
		p.Acts = append(p.Acts, actLine{a.Do, a.Quantities(), a.Invalid})
	}
	for _, c := range g.Clocks {
		line := fmt.Sprintf("%s: within %s from %s to %s", c.Name, c.Within, c.From, c.To)
		if c.CappedWithin > 0 {
			line += fmt.Sprintf("; a closed container pauses it for at most %s", c.CappedWithin)
		}
		p.Clocks = append(p.Clocks, line)
	}
	for _, w := range guide.Warnings {
		if strings.HasPrefix(w, strings.TrimSuffix(string(g.Kind), "-channel")+" channel") {
			p.Warnings = append(p.Warnings, w)
		}
	}
}

// baseOf is the edition that a form was made from.
func baseOf(f kit.Form) ledger.ID { return ledger.ID(f.Typed["base"]) }
