package desk

import (
	"fmt"
	"slices"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/wire/table"
)

// Steps is a file of steps.
const Steps Kind = "steps"

var fileOfSteps = fileKind{
	kind: Steps, about: "a step of a cycle",
	needs: needs(access.RecordStep, access.VoidRecord),
	columns: []table.Field{
		textColumn("id", "the sender's own id of the row"),
		required(textColumn("scope", "asset tag")),
		required(wordColumn("step", recordedSteps(), "the step")),
		required(timeColumn("start", "start")),
		timeColumn("end", "end"),
		textColumn("person", "who did it"),
		wordColumn("result", results, "how it ended"),
		textColumn("note", "remark"),
		textColumn(
			"disinfectant",
			"disinfectant or sterilant, as named in the rule set",
		),
		textColumn("disinfectant_lot", "its lot"),
		timeColumn("disinfectant_expires", "when the lot or the solution expires"),
		timeColumn("disinfectant_filled", "when the solution was activated or filled in"),
		wordColumn("mec", results, "check of the minimum effective concentration"),
		numberColumn("coldest_cel", "lowest temperature over the contact time, °C"),
		numberColumn("warmest_cel", "highest temperature over the contact time, °C"),
		numberColumn("contact_min", "contact time in minutes"),
		textColumn("reprocessor", "reprocessor (AER, EWD)"),
		textColumn("cycle_number", "number of its cycle"),
		textColumn("cabinet", "cabinet, as named in the rule set"),
		textColumn("procedure", "what an issued scope is meant for"),
	},
	example: `id,scope,step,start,end,person,result,note,disinfectant,disinfectant_lot,disinfectant_expires,` +
		`disinfectant_filled,mec,coldest_cel,warmest_cel,contact_min,reprocessor,cycle_number,cabinet,procedure
,D-01,leak-test,2026-03-02T08:58:00+01:00,2026-03-02T09:00:00+01:00,T-01,pass,,,,,,,,,,,,,
,D-01,manual-cleaning,2026-03-02T09:01:00+01:00,2026-03-02T09:19:00+01:00,T-01,,,,,,,,,,,,,,
`,
	anchor: "scope",
	line: func(in *intake, r row) (string, func() (bool, error)) {
		s := r.step()
		return fmt.Sprintf("%s of %s at %s", s.Kind, s.Scope, s.Start.In(in.Zone())), func() (_ bool, err error) {
			id := in.id(r.col["id"].Text(), s.Scope, string(s.Kind), s.Start.String())
			if s.End.Known() {
				if id, s.Finishes, err = finishing(in, id, func(begun reprocessing.Step) bool { return !begun.End.Known() }); err != nil {
					return false, err
				}
			}
			receipt, err := in.RecordStep(Entry{ID: id, By: s.By}, s)
			in.holds(r, s.Scope, receipt)
			return receipt.Fresh, err
		}
	},
}

func (r row) step() reprocessing.Step {
	return reprocessing.Step{
		Scope:               r.col["scope"].Text(),
		Kind:                reprocessing.StepKind(r.col["step"].Word()),
		Start:               r.col["start"].Time(),
		End:                 r.col["end"].Time(),
		By:                  r.col["person"].Text(),
		Result:              reprocessing.Result(r.col["result"].Word()),
		Note:                r.col["note"].Text(),
		Disinfectant:        r.col["disinfectant"].Text(),
		DisinfectantLot:     r.col["disinfectant_lot"].Text(),
		DisinfectantExpires: r.col["disinfectant_expires"].Time(),
		DisinfectantFilled:  r.col["disinfectant_filled"].Time(),
		MEC:                 reprocessing.Result(r.col["mec"].Word()),
		Coldest:             unit.Celsius(r.col["coldest_cel"].Number()),
		HasTemperature:      r.col["coldest_cel"].Has(),
		Warmest:             unit.Celsius(r.col["warmest_cel"].Number()),
		Contact: unit.Span(
			float64(r.col["contact_min"].Number()) * float64(unit.Minute),
		),
		Reprocessor: r.col["reprocessor"].Text(),
		CycleNumber: r.col["cycle_number"].Text(),
		Cabinet:     r.col["cabinet"].Text(),
		Procedure:   r.col["procedure"].Text(),
	}
}

func recordedSteps() []string {
	return words(slices.DeleteFunc(slices.Clone(reprocessing.StepKinds), func(k reprocessing.StepKind) bool { return k == reprocessing.Verification }))
}
