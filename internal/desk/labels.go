package desk

import (
	"fmt"
	"reflect"
	"slices"
	"strings"

	"rinsate/internal/base/text"
	"rinsate/internal/domain/policy"
	"rinsate/internal/record"
)

// silent are fields that an edition says nothing by to a person: what parts are called already.
var silent = map[string]bool{
	"RuleSet.digest":    true,
	"Channel.kind":      true,
	"Choice.kind":       true,
	"StepRule.step":     true,
	"Clock.name":        true,
	"Cabinet.name":      true,
	"Disinfectant.name": true,
	"Protocol.points":   true,
	"Rule.when":         true,
	"Rule.risk":         true,
	"Rule.kinds":        true,
}

// labelOf returns the words for a field.
func labelOf(typ, name string) string {
	if l, ok := record.Label(typ, name); ok {
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
				parts[i] = text.Spaced(fmt.Sprint(f.Index(i).Interface()))
			}
			return strings.Join(parts, ", ")
		}
		return text.Spaced(fmt.Sprint(f.Interface()))
	}
	switch v.Type().Name() {
	case "Channel":
		return field("Kind") + " channel"
	case "Choice":
		return "sampling point " + field("Kind")
	case "StepRule":
		return "step " + field("Step")
	case "Route":
		return "route after " + field("After")
	case "Protocol":
		return "protocol for " + field("Points")
	case "Rule":
		return joinedWords("cleaning verification", field("When"), field("Risk"), field("Kinds"))
	case "Clock":
		return "clock " + v.FieldByName("Name").String()
	case "Cabinet":
		return "cabinet " + v.FieldByName("Name").String()
	case "Disinfectant":
		return "disinfectant " + v.FieldByName("Name").String()
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
