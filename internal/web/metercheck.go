package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/quality"
	"rinsate/internal/web/kit"
)

// checkForm records a check of a meter.
type checkForm struct {
	*kit.Form
	// Action is where it is sent.
	Action string
	Kinds  []controlField
	// All are the kinds of controls, for one that has no target.
	All []quality.ControlKind
	// Latest is now, the latest time that a check can have.
	Latest string
	// More opens what is seldom needed, since something is in it.
	More bool
}

// controlField is one kind of control that has a target: what is read, and the value.
type controlField struct {
	Kind     string
	Required bool
	Options  []controlOption
	Value    string
}

// controlOption is a material with its lot.
type controlOption struct {
	Value, Text string
	Chosen      bool
}

// materialValue names a material and its lot in a form.
func materialValue(material, lot string) string {
	return url.Values{"material": {material}, "lot": {lot}}.Encode()
}

// checkFields are the fields of the form.
func checkFields() []string {
	fields := []string{"at", "serviced", "other-kind", "other-material", "other-lot", "other-value"}
	for _, kind := range quality.ControlKinds {
		fields = append(fields, "material-"+string(kind), "value-"+string(kind))
	}
	return fields
}

// checkForm makes the form with what the meter can be checked with, empty or as it was sent. What was
// read last is chosen, unless there is a newer target.
func (s meterPages) checkForm(x *kit.Exchange, v desk.View, l desk.MeterLine, now unit.Instant, was kit.Sent) (*checkForm, error) {
	f := &checkForm{Form: x.Form(was, "check"), Action: s.URL("/meters/" + url.PathEscape(l.Code) + "/checks"), All: quality.ControlKinds, Latest: s.Present()}
	readables, err := v.Measuring().Readables(l.Meter, now)
	if err != nil {
		return nil, err
	}
	for _, kind := range quality.ControlKinds {
		field := controlField{Kind: string(kind), Value: f.Typed["value-"+string(kind)]}
		chosen := f.Typed["material-"+string(kind)]
		for _, r := range readables {
			if r.Kind != kind {
				continue
			}
			field.Required = field.Required || r.Required
			if r.Material == "" {
				continue
			}
			value := materialValue(r.Material, r.Lot)
			field.Options = append(field.Options, controlOption{Value: value, Text: material(r.Material, r.Lot) + ": " + limitWords(r.Target)})
			if f.Typed["material-"+string(kind)] == "" && readLast(l.Last, r) {
				chosen = value
			}
		}
		if len(field.Options) == 0 && !field.Required {
			continue
		}
		for i := range field.Options {
			field.Options[i].Chosen = field.Options[i].Value == chosen
		}
		f.Kinds = append(f.Kinds, field)
	}
	for _, name := range []string{"at", "serviced", "other-material", "other-lot", "other-value"} {
		f.More = f.More || f.Typed[name] != ""
	}
	f.More = f.More || len(f.Kinds) == 0
	return f, nil
}

// readLast says whether the last check read this and no target came since.
func readLast(last *desk.CheckLine, r desk.Readable) bool {
	return last != nil && slices.ContainsFunc(last.Controls, func(c quality.Control) bool {
		return c.Kind == r.Kind && c.Material == r.Material && c.Lot == r.Lot
	})
}

// controlsIn reads what was typed into a form.
func controlsIn(f kit.Form, at unit.Instant) ([]quality.Control, error) {
	var list []quality.Control
	for _, kind := range quality.ControlKinds {
		text := strings.TrimSpace(f.Typed["value-"+string(kind)])
		if text == "" {
			continue
		}
		q, err := url.ParseQuery(f.Typed["material-"+string(kind)])
		if err != nil || q.Get("material") == "" {
			return nil, &kit.PageError{Status: http.StatusBadRequest, Message: fmt.Sprintf("Say what was read as the %s control.", kind)}
		}
		c, err := control(kind, q.Get("material"), q.Get("lot"), text, at)
		if err != nil {
			return nil, err
		}
		list = append(list, c)
	}
	if text := strings.TrimSpace(f.Typed["other-value"]); text != "" {
		name := strings.TrimSpace(f.Typed["other-material"])
		if name == "" {
			return nil, &kit.PageError{Status: http.StatusBadRequest, Message: "Name the material of the other control."}
		}
		c, err := control(quality.ControlKind(f.Typed["other-kind"]), name, strings.TrimSpace(f.Typed["other-lot"]), text, at)
		if err != nil {
			return nil, err
		}
		list = append(list, c)
	}
	if len(list) == 0 {
		return nil, &kit.PageError{Status: http.StatusBadRequest, Message: "Type what the meter showed for at least one control."}
	}
	return list, nil
}

// control reads the value of one control.
func control(kind quality.ControlKind, material, lot, text string, at unit.Instant) (quality.Control, error) {
	n, err := unit.ParseNumber(text)
	if err == nil {
		err = quality.CheckValue(n)
	}
	if err != nil {
		return quality.Control{}, &kit.PageError{
			Status: http.StatusBadRequest, Message: fmt.Sprintf("The %s control cannot be %q: a meter shows a whole number from 0 to 9999999.", kind, text),
			Hint: "Look at the meter and type the number as it stands there.",
		}
	}
	return quality.Control{Kind: kind, Material: material, Lot: lot, Value: n, At: at}, nil
}

// checkMeter records a check and shows at once what it came to.
func (s meterPages) checkMeter(x *kit.Exchange) error {
	code, f := x.R.PathValue("meter"), x.Read(checkFields()...)
	id, err := s.recordCheck(x, code, f)
	if err == nil {
		return x.Redirect("/meters/" + url.PathEscape(code) + "?check=" + url.QueryEscape(string(id)) + "#outcome")
	}
	status, words, ok := kit.Refused(x, err)
	if !ok {
		return err
	}
	f.Problem = words
	return s.meterPage(x, status, code, kit.Sent{Name: "check", Form: f})
}

func (s meterPages) recordCheck(x *kit.Exchange, code string, f kit.Form) (ledger.ID, error) {
	e, err := x.Entry(f)
	if err != nil {
		return "", err
	}
	at := s.Now()
	if text := f.Typed["at"]; text != "" {
		if at, err = s.Instant(text); err != nil {
			return "", err
		}
	}
	err = x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
		// Sent a second time, it is the check that was stored the first time, with its time.
		if old, ok, err := w.Measuring().CheckOf(code, e.ID); err != nil {
			return err
		} else if ok {
			at = old.Controls[0].At
		}
		controls, err := controlsIn(f, at)
		if err != nil {
			return err
		}
		_, _, err = w.AtMeters().CheckMeter(e, desk.Check{Meter: code, Controls: controls, Serviced: strings.TrimSpace(f.Typed["serviced"])})
		return err
	})
	return e.ID, err
}

// checkOutcome is what a check came to, and what to do next.
type checkOutcome struct {
	checkRow
	// Class is that of the frame about it.
	Class string
	// Doubts is how many readings it took the trust from.
	Doubts int
	// Bench is where work goes on; empty for whoever may not, and when the meter must not be used.
	Bench string
}

// checkOutcome tells of the check that the address names.
func (s meterPages) checkOutcome(x *kit.Exchange, v desk.View, code string, doubts []desk.InDoubt) (*checkOutcome, error) {
	name := x.R.URL.Query().Get("check")
	if name == "" || x.R.Method != http.MethodGet {
		return nil, nil //nolint:nilnil // no check was just recorded
	}
	id, err := ledger.ParseID(name)
	if err != nil {
		return nil, kit.NotHere("There is no such check.")
	}
	c, ok, err := v.Measuring().CheckOf(code, id)
	if err != nil {
		return nil, err
	}
	if !ok {
		return nil, kit.NotHere("There is no such check of meter %s.", code)
	}
	o := &checkOutcome{checkRow: s.checkRow(c, v.Zone()), Class: s.Terms.Verdict(c.Verdict.Outcome).Class}
	for _, d := range doubts {
		if d.Check == id {
			o.Doubts++
		}
	}
	if c.Verdict.Outcome.Good() && x.Can(desk.ToWorkAtBench) {
		o.Bench = s.URL("/bench")
	}
	return o, nil
}
