package desk

import (
	"fmt"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/wire/table"
)

// Models is a file of models.
const Models Kind = "models"

var fileOfModels = fileKind{
	kind: Models, about: "a channel of a model; rows of one model agree on everything else",
	columns: []table.Field{
		required(textColumn("model", "name of the model; one row for each of its channels")),
		required(wordColumn("kind", words(scope.Kinds), "kind of scope")),
		wordColumn("risk", []string{"high", "standard"}, "risk class; without it that of the kind"),
		yesColumn("elevator", "whether the distal end has an elevator"),
		required(numberColumn("outer_diameter_mm", "outer diameter of the distal end")),
		required(numberColumn("sampled_length_mm", "length of the distal end that a surface sample covers")),
		required(wordColumn("channel", words(scope.ChannelKinds), "the channel of this row")),
		required(numberColumn("diameter_mm", "inner diameter of the channel")),
		required(numberColumn("length_mm", "length of the channel, port to tip")),
		textColumn("port", "where fluid goes in"),
		yesColumn("brushable", "whether a brush passes"), yesColumn("flushable", "whether it can be flushed"),
		yesColumn("sealed", "whether the user cannot flush it"),
		textColumn("cleaning", "the act of manual cleaning that reaches the channel"),
		textColumn("instructions", "the manufacturer's document and edition"),
	},
	example: `model,kind,risk,elevator,outer_diameter_mm,sampled_length_mm,channel,diameter_mm,length_mm,port,brushable,flushable,sealed,cleaning,instructions
Example D,duodenoscope,,yes,13.5,100,instrument,4.2,1350,biopsy port,yes,yes,no,brush and flush,example instructions 1
Example D,duodenoscope,,yes,13.5,100,air,1.0,2800,umbilical,no,yes,no,flush,example instructions 1
`,
	whole: func(in *intake, t *table.Table) error {
		in.models(t)
		return nil
	},
}

// ReadModels reads a whole file of models. Rows of one model need not stand together, but must
// agree on everything except the channel.
func ReadModels(t *table.Table) []scope.Model {
	col := func(name string) table.Column { return t.Field(name) }
	byName := map[string]int{}
	var models []scope.Model
	for t.Next() {
		m := scope.Model{
			Name: col("model").Text(), Kind: scope.Kind(col("kind").Word()), Risk: scope.Risk(col("risk").Word()), Elevator: col("elevator").Bool(),
			OuterDiameter: unit.Millimetres(col("outer_diameter_mm").Number()), SampledLength: unit.Millimetres(col("sampled_length_mm").Number()),
			Instructions: col("instructions").Text(),
		}
		if m.Risk == "" {
			m.Risk = scope.UsualRisk(m.Kind)
		}
		c := scope.Channel{
			Kind: scope.ChannelKind(
				col("channel").Word(),
			),
			Diameter: unit.Millimetres(col("diameter_mm").Number()),
			Length:   unit.Millimetres(col("length_mm").Number()),
			Port: col(
				"port",
			).Text(),
			Brushable: col("brushable").Bool(),
			Flushable: col("flushable").Bool(),
			Sealed:    col("sealed").Bool(),
			Cleaning:  col("cleaning").Text(),
		}
		i, seen := byName[m.Name]
		if !seen {
			i = len(models)
			byName[m.Name] = i
			models = append(models, m)
		}
		old := &models[i]
		if old.Kind != m.Kind || old.Risk != m.Risk || old.Elevator != m.Elevator || old.OuterDiameter != m.OuterDiameter ||
			old.SampledLength != m.SampledLength {
			col("model").Reject("this row and an earlier one of the same model disagree on kind, risk, elevator or distal end")
		}
		old.Channels = append(old.Channels, c)
		if err := old.Check(); err != nil {
			col("channel").Reject(err.Error())
			old.Channels = old.Channels[:len(old.Channels)-1]
		}
		if len(models) > maxModels {
			col("model").Reject(fmt.Sprintf("more than %d models in one file", maxModels))
			break
		}
	}
	return models
}

func (in *intake) models(t *table.Table) {
	models := ReadModels(t)
	if t.Err() != nil {
		return
	}
	for _, m := range models {
		in.changes = false
		fresh, err := described(in, record.Model, m.Name, m, nil, func(e Entry) error {
			_, warnings, err := in.SettingUp().RegisterModel(e, in.tx.Now, m)
			for _, warning := range warnings {
				in.out.Warnings = append(in.out.Warnings, fmt.Sprintf("model %s: %s", m.Name, warning))
			}
			return err
		})
		if in.waits(t.Line(), err) {
			err = nil
		}
		if err != nil {
			problem(t.Field("model"), err)
			return
		}
		in.told(t.Line(), fresh, "model %s with %d channels", m.Name, len(m.Channels))
	}
}

// maxModels bounds what a file of models may fill the memory with.
const maxModels = 10_000
