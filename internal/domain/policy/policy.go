// Package policy reads a facility's rule set: how points are sampled and by which clocks, what is
// due, how verifications are decided, and which steps and limits a cycle has. A rule set is a YAML
// file with a name and an edition; each rule carries its citation and whether the facility has
// verified it there. Nothing in it is a default of the program: what the file does not say is
// refused, not guessed. Presets are starting points to edit, and say so.
//
// Read Parse first. The package decides nothing by itself; it hands each part to the package that
// judges by it.
package policy

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"

	"go.yaml.in/yaml/v3"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// MaxSize is the largest rule set that is read: it has to fit into one record of the ledger.
const MaxSize = 48 << 10

// RuleSet is a facility's policy.
type RuleSet struct {
	Name    string   `yaml:"name" json:"name"`
	Edition string   `yaml:"edition" json:"edition"`
	Note    string   `yaml:"note,omitempty" json:"note,omitempty"`
	Sample  Sampling `yaml:"sampling" json:"sampling"`
	// Reading says how verifications are decided.
	Reading      reading.Rules      `yaml:"reading" json:"reading"`
	Reprocessing reprocessing.Rules `yaml:"reprocessing" json:"reprocessing"`
	// Meters says how meters are checked; nil in a rule set that does not say.
	Meters *Metering `yaml:"meters,omitempty" json:"meters,omitempty"`
	// Digest is the SHA-256 of the text, in hex.
	Digest string `yaml:"-" json:"digest"`
}

// Sampling is the part of a rule set about samples.
type Sampling struct {
	Clocks    sampling.Clocks     `yaml:"clocks" json:"clocks"`
	Protocols []sampling.Protocol `yaml:"protocols" json:"protocols"`
	// Models replaces the protocols for single models.
	Models    map[string][]sampling.Protocol `yaml:"models,omitempty" json:"models,omitempty"`
	Due       []sampling.Rule                `yaml:"due" json:"due"`
	Selection sampling.Selection             `yaml:"selection" json:"selection"`
}

// Metering is the part of a rule set about the checks of meters.
type Metering struct {
	Rules quality.Rules `yaml:"rules" json:"rules"`
	// Holds says how long a good check holds.
	Holds           quality.Policy `yaml:"holds" json:"holds"`
	sampling.Source `yaml:",inline"`
}

// ProtocolsFor returns the protocols of a model: its own before the general ones.
func (s Sampling) ProtocolsFor(model string) []sampling.Protocol {
	return append(append([]sampling.Protocol(nil), s.Models[model]...), s.Protocols...)
}

// Cite names the rule set in a decision.
func (r RuleSet) Cite() string { return r.Name + ", edition " + r.Edition }

// Parse reads a rule set strictly: unknown keys, missing parts and rules that cannot be followed
// are errors that name the file and, where YAML knows it, the line.
func Parse(name string, text []byte) (RuleSet, error) {
	var r RuleSet
	if len(text) > MaxSize {
		return r, fmt.Errorf("%s: the rule set has %d bytes; at most %d are read", name, len(text), MaxSize)
	}
	d := yaml.NewDecoder(bytes.NewReader(text))
	d.KnownFields(true)
	if err := d.Decode(&r); err != nil {
		if errors.Is(err, io.EOF) {
			return r, fmt.Errorf("%s: the rule set is empty", name)
		}
		return r, fmt.Errorf("%s: %w", name, err)
	}
	if err := d.Decode(new(yaml.Node)); !errors.Is(err, io.EOF) {
		return r, fmt.Errorf("%s: one rule set a file: a second document follows", name)
	}
	r.Reprocessing.Due = r.Sample.Due
	if err := r.Check(); err != nil {
		return r, fmt.Errorf("%s: %w", name, err)
	}
	sum := sha256.Sum256(text)
	r.Digest = hex.EncodeToString(sum[:])
	return r, nil
}

// Check refuses a rule set that leaves something open.
func (r RuleSet) Check() error {
	var problems []error
	check := func(err error) {
		if err != nil {
			problems = append(problems, err)
		}
	}
	if r.Name == "" || r.Edition == "" {
		problems = append(problems, errors.New("name and edition must be given"))
	}
	check(r.Sample.Clocks.Check())
	if len(r.Sample.Clocks.Limits) == 0 {
		problems = append(problems, errors.New("no clock limits the life of a sample"))
	}
	covered := make(map[scope.PointKind]bool)
	for _, p := range r.Sample.Protocols {
		check(p.Check())
		for _, k := range p.Points {
			if covered[k] {
				problems = append(problems, fmt.Errorf("point %s has two protocols", k))
			}
			covered[k] = true
		}
	}
	for _, k := range scope.PointKinds {
		if !covered[k] {
			problems = append(problems, fmt.Errorf("point %s has no protocol", k))
		}
	}
	for _, model := range slices.Sorted(maps.Keys(r.Sample.Models)) {
		for _, p := range r.Sample.Models[model] {
			if err := p.Check(); err != nil {
				problems = append(problems, fmt.Errorf("model %s: %w", model, err))
			}
		}
	}
	if len(r.Sample.Due) == 0 {
		problems = append(problems, errors.New("no rule makes any cleaning verification due"))
	}
	for _, d := range r.Sample.Due {
		check(d.Check())
	}
	check(r.Sample.Selection.Check())
	check(r.Reading.Check())
	check(r.Reprocessing.Check())
	if r.Meters != nil {
		check(r.Meters.Rules.Check())
		check(r.Meters.Holds.Check())
	}
	return errors.Join(problems...)
}

// Unverified lists the rules whose citation nobody of the facility has checked yet.
func (r RuleSet) Unverified() []string {
	var open []string
	note := func(s sampling.Source, format string, args ...any) {
		if !s.Verified {
			open = append(open, fmt.Sprintf(format, args...)+" ("+s.Citation+")")
		}
	}
	for _, c := range r.Sample.Clocks.Limits {
		note(c.Source, "clock %s", c.Name)
	}
	for _, p := range r.Sample.Protocols {
		note(p.Source, "protocol for %s", scope.Words(p.Points))
	}
	for _, d := range r.Sample.Due {
		note(d.Source, "due %s", d.When)
	}
	note(r.Sample.Selection.Source, "random selection")
	for _, s := range r.Reprocessing.Steps {
		note(s.Source, "step %s", s.Step)
	}
	for _, x := range r.Reprocessing.Routes {
		note(x.Source, "route %s", x.After.Words())
	}
	note(r.Reprocessing.UnstoredSource, "time outside a cabinet")
	for _, c := range r.Reprocessing.Cabinets {
		note(c.Source, "cabinet %s", c.Name)
	}
	if r.Meters != nil {
		note(r.Meters.Source, "checks of meters")
	}
	for _, a := range r.Reprocessing.Disinfectants {
		note(a.Source, "disinfectant %s", a.Name)
	}
	return open
}

//go:embed presets
var presets embed.FS

// Preset returns the text of the general rule set that ships with the program: a starting point
// to be edited, whose unverified entries are marked.
func Preset() []byte {
	text, err := presets.ReadFile("presets/general.yaml")
	if err != nil {
		panic(err) // embedded at build time
	}
	return text
}

// Template is a published pair of limits from which a facility may make a level of its own, for
// its meter system and kit.
type Template struct {
	Name            string             `yaml:"name"`
	Analyte         reading.Analyte    `yaml:"analyte"`
	Unit            reading.Unit       `yaml:"unit"`
	Alert           unit.Number        `yaml:"alert,omitempty"`
	Action          unit.Number        `yaml:"action"`
	Comparison      reading.Comparison `yaml:"comparison"`
	Edition         string             `yaml:"edition"`
	Note            string             `yaml:"note,omitempty"`
	sampling.Source `yaml:",inline"`
}

// Level makes a level of the template. The facility answers for its fitting the meter system, the
// kit, the point and the way of sampling.
func (t Template) Level(system, kit string, point scope.PointKind, adopter string, adopted unit.Instant) reading.Level {
	return reading.Level{
		System: system, Kit: kit, Point: point, Analyte: t.Analyte, Unit: t.Unit,
		Alert: t.Alert, Action: t.Action, Comparison: t.Comparison,
		Source: t.Citation, Edition: t.Edition, Adopter: adopter, Adopted: adopted,
	}
}

// Templates returns the published limits that ship with the program.
func Templates() []Template {
	text, err := presets.ReadFile("presets/levels.yaml")
	if err != nil {
		panic(err) // embedded at build time
	}
	var list struct {
		Levels []Template `yaml:"levels"`
	}
	d := yaml.NewDecoder(bytes.NewReader(text))
	d.KnownFields(true)
	if err := d.Decode(&list); err != nil {
		panic(err) // a test reads it
	}
	return list.Levels
}
