package table_test

import (
	"fmt"
	"os"
	"strings"

	"rinsate/internal/wire/table"
)

func ExampleOpen() {
	profile, err := table.ParseProfile("washer.yaml", strings.NewReader(`
time: {zone: Europe/Berlin, format: DD.MM.YYYY HH:mm}
decimal: comma
columns: {rlu: Wert, at: Zeit}
`))
	if err != nil {
		fmt.Println(err)
		return
	}
	const file = "Zeit;Wert\n25.11.2026 08:30;1.200\n26.10.2025 02:30;18x\n"
	table, err := table.Open("readings.csv", strings.NewReader(file), profile, []table.Field{
		{Name: "at", Required: true, Kind: table.KindTime},
		{Name: "rlu", Required: true, Kind: table.KindInt},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	at, rlu := table.Field("at"), table.Field("rlu")
	for table.Next() {
		fmt.Println(table.Line(), at.Time(), rlu.Int(0, 9_999_999))
	}
	fmt.Println(table.Err())
	// Output:
	// 2 2026-11-25T07:30:00Z 1200
	// 3 unknown 0
	// readings.csv:3: column "Zeit": "26.10.2025 02:30" comes twice in Europe/Berlin, where clocks were set back: give the offset, +02:00 or +01:00, or say in the profile which counts (ambiguous)
	// readings.csv:3: column "Wert": "18x" is not a whole number 0–9999999
}

func ExampleWriter() {
	w := table.NewWriter(os.Stdout, table.WriterOptions{Delimiter: ';'})
	_ = w.Write("scope", "change", "note")
	_ = w.Write("S1", "-4.5", "=HYPERLINK(x)")
	if err := w.Flush(); err != nil {
		fmt.Println(err)
	}
	// Output:
	// scope;change;note
	// S1;-4.5;'=HYPERLINK(x)
}
