package desk

import (
	"fmt"
	"reflect"
	"slices"
	"strings"

	"rinsate/internal/domain/policy"
)

// labels are the words for the fields of what has editions, by the type and the name in JSON, or by the
// name alone where all types mean the same by it.
var labels = map[string]string{
	"name": "name", "kind": "kind", "risk": "risk class", "elevator": "elevator", "outer_diameter_mm": "outer diameter",
	"sampled_length_mm": "sampled length", "channels": "channels", "points": "sampling points", "instructions": "instructions",
	"diameter_mm": "inner diameter", "length_mm": "length", "port": "port", "brushable": "can be brushed", "flushable": "can be flushed",
	"sealed": "sealed", "cleaning": "cleaned by", "routine": "in every round",

	"tag": "tag", "serial": "serial number", "barcode": "barcode", "model": "model", "owner": "owner", "location": "place",
	"in_service": "in service since", "retired": "out of service since",

	"code": "code", "system": "meter system", "kit": "kit", "lot": "lot", "expires": "must not be used from", "recalled": "recalled since",

	"meter": "meter", "material": "material", "low": "lower limit", "high": "upper limit", "mean_log10": "mean of log10(RLU+1)",
	"sd_log10": "standard deviation of log10(RLU+1)", "runs": "own runs", "source": "source", "edition": "edition",
	"adopted_by": "adopted by", "adopted": "adopted",

	"Level.point": "sampling point", "Level.kind": "kind of scope", "Level.analyte": "residue test", "Level.unit": "unit", "Level.alert": "alert level",
	"Level.action": "action level", "Level.comparison": "exceeded by a value", "Level.cv": "coefficient of variation", "Level.dirty": "counts as dirty",
	"Level.clean": "counts as clean",

	"note": "note", "sampling": "", "reading": "rounds", "turnaround": "", "meters": "checks of meters",
	"clocks": "", "limits": "clocks", "shake": "shortest shaking", "protocols": "protocols", "models": "models", "due": "when rounds are due", "draw": "draw",
	"method": "method", "from": "counted from", "to": "counted to", "within": "within", "capped_within": "within, container closed",
	"at_hand": "at hand", "acts": "acts", "do": "do", "medium": "medium", "volume_ml": "volume", "Act.length_mm": "length covered", "at_most_mm": "tubing at most",
	"lasts": "lasts", "discard": "discard what comes out", "invalid": "void if",
	"when": "occasion", "kinds": "kinds", "uses": "every so many uses", "days": "days", "Rule.days": "every so many days", "blocks": "keeps the gate shut",
	"per_kind": "of each kind", "per_process": "of each process", "every_days": "at the latest after days", "size": "at least in all",
	"attempts": "attempts", "retest": "sampled again", "combine": "readings combined", "duplicate_near_level": "second reading near a level", "recovery": "recovery",
	"steps": "steps", "step": "step", "required": "required", "at_least": "lasts at least", "on_late": "when it is late", "on_fail": "when it fails",
	"cabinets": "cabinets", "hours": "hours", "agents": "agents", "contact": "contact time", "coldest_cel": "at least at", "warmest_cel": "at most at",
	"mec": "concentration checked", "reuse_days": "used for days", "unstored": "outside a cabinet for", "unstored_source": "outside a cabinet",
	"rules": "", "use": "rules in use", "warning_first": "warning first", "across_levels": "across levels", "Rules.required": "controls that are needed",
	"holds": "", "every": "a check holds for", "same_day": "a check holds to the end of the day",
	"citation": "citation", "verified": "verified", "verified_by": "verified by", "verified_in": "verified in",
}

// silent are fields that an edition says nothing by to a person: what parts are called already.
var silent = map[string]bool{
	"RuleSet.digest": true, "Channel.kind": true, "Choice.kind": true, "StepRule.step": true, "Clock.name": true, "Cabinet.name": true, "Agent.name": true,
	"Protocol.points": true, "Rule.when": true, "Rule.risk": true, "Rule.kinds": true,
}

// labelOf returns the words for a field.
func labelOf(typ, name string) string {
	if l, ok := labels[typ+"."+name]; ok {
		return l
	}
	if l, ok := labels[name]; ok {
		return l
	}
	return strings.ReplaceAll(name, "_", " ")
}

// SettingLabel returns the words for a setting of a rule set.
func SettingLabel(s policy.Setting) string {
	typ := ""
	if slices.Contains(s.Path, "due") {
		typ = "Rule"
	}
	return labelOf(typ, s.Key())
}

// partName names the i-th part of a list, counted from 0, by what it is called: a step, a channel, a
// protocol by its points, a due rule by its occasion and whom it is for.
func partName(v reflect.Value, i int) string {
	field := func(name string) string {
		f := v.FieldByName(name)
		if !f.IsValid() || f.Kind() == reflect.Slice && f.Len() == 0 {
			return ""
		}
		if f.Kind() == reflect.Slice {
			parts := make([]string, f.Len())
			for i := range f.Len() {
				parts[i] = spaced(fmt.Sprint(f.Index(i).Interface()))
			}
			return strings.Join(parts, ", ")
		}
		return spaced(fmt.Sprint(f.Interface()))
	}
	switch v.Type().Name() {
	case "Channel":
		return field("Kind") + " channel"
	case "Choice":
		return "sampling point " + field("Kind")
	case "StepRule":
		return "step " + field("Step")
	case "Protocol":
		return "protocol for " + field("Points")
	case "Rule":
		return joinedWords("round", field("When"), field("Risk"), field("Kinds"))
	case "Clock":
		return "clock " + v.FieldByName("Name").String()
	case "Cabinet":
		return "cabinet " + v.FieldByName("Name").String()
	case "Agent":
		return "agent " + v.FieldByName("Name").String()
	}
	return fmt.Sprintf("act %d", i+1)
}

func joinedWords(words ...string) string {
	var all []string
	for _, w := range words {
		if w != "" {
			all = append(all, w)
		}
	}
	return strings.Join(all, " ")
}

// spaced writes a name of the code as words.
func spaced(name string) string { return strings.ReplaceAll(name, "-", " ") }
