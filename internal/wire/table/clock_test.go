package table_test

import (
	"encoding/json"
	"os"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/wire/table"
)

func TestParseTimeVectors(t *testing.T) {
	text, err := os.ReadFile("testdata/rfc3339.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		RFC3339 []struct {
			In, Note, UTC string
			Valid         bool
		}
	}
	if err := json.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	if len(file.RFC3339) != 12 {
		t.Fatalf("%d vectors, want 12", len(file.RFC3339))
	}
	for _, v := range file.RFC3339 {
		t.Run(v.In, func(t *testing.T) {
			got, err := table.ParseTime(v.In)
			if (err == nil) != v.Valid {
				t.Fatalf("got %v, %v; valid %v (%s)", got, err, v.Valid, v.Note)
			}
			if v.Valid && v.UTC != "" && got.String() != v.UTC {
				t.Errorf("got %v, want %s (%s)", got, v.UTC, v.Note)
			}
		})
	}
}

func TestParseTime(t *testing.T) {
	tests := []struct{ name, in, want, reason string }{
		{"leap second", "1990-12-31T23:59:60Z", "1991-01-01T00:00:00Z", "RFC 3339, 5.8: the following second's start"},
		{"leap second elsewhere", "1990-12-31T15:59:60-08:00", "1991-01-01T00:00:00Z", "the same moment, also from 5.8"},
		{"leap second with fraction", "2016-12-31T23:59:60.75Z", "2017-01-01T00:00:00Z", "the fraction is dropped"},
		{"no leap second", "2026-11-25T08:30:60Z", "", "RFC 3339, 5.7: only at a month's end, midnight UTC"},
		{"second 61", "1990-12-31T23:59:61Z", "", "never"},
		{"lower case", "2026-11-25t08:30:00z", "2026-11-25T08:30:00Z", "RFC 3339, 5.6, note: either case"},
		{"unknown offset", "2026-11-25T08:30:00-00:00", "2026-11-25T08:30:00Z", "RFC 3339, 4.3: UTC is known"},
		{"widest offset", "2026-11-25T08:30:00-23:59", "2026-11-26T08:29:00Z", "RFC 3339, 5.6: hour 23, minute 59"},
		{"offset minute 60", "2026-11-25T08:30:00+01:60", "", "minute 0–59"},
		{"one-digit hour", "2026-11-25T8:30:00Z", "", "two digits"},
		{"nanoseconds", "2026-11-25T08:30:00.123456789Z", "2026-11-25T08:30:00.123456Z", "microseconds are kept, the rest dropped"},
		{"long fraction", "2026-11-25T08:30:00." + strings.Repeat("9", 40) + "Z", "2026-11-25T08:30:00.999999Z", "any number of digits"},
		{"no digit after point", "2026-11-25T08:30:00.Z", "", "at least one"},
		{"leap day", "2024-02-29T00:00:00Z", "2024-02-29T00:00:00Z", "exists"},
		{"1900", "1900-02-29T00:00:00Z", "", "not a leap year"},
		{"month 0", "2026-00-10T00:00:00Z", "", "1–12"},
		{"month 13", "2026-13-10T00:00:00Z", "", "1–12"},
		{"day 0", "2026-01-00T00:00:00Z", "", "from 1"},
		{"before 1970", "1969-12-31T23:59:59.999999Z", "1969-12-31T23:59:59.999999Z", "negative, known"},
		{"epoch", "1970-01-01T00:00:00Z", "", "a clock never set; the zero Instant means unknown"},
		{"year 1", "0001-01-01T00:00:00Z", "0001-01-01T00:00:00Z", "not confused with the zero time"},
		{"trailing text", "2026-11-25T08:30:00Z ", "", "all of the text counts"},
		{"empty", "", "", "nothing"},
		{"wide digits", "２026-11-25T08:30:00Z", "", "ASCII digits only"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, err := table.ParseTime(tt.in)
			if (err != nil) != (tt.want == "") || (err == nil && got.String() != tt.want) {
				t.Errorf("got %v, %v; want %q (%s)", got, err, tt.want, tt.reason)
			}
		})
	}
}

// one reads a single cell with a profile.
func one(t *testing.T, p table.Profile, f table.Field, cell string, read func(table.Column)) error {
	t.Helper()
	if p.Delimiter == "" {
		p.Delimiter = "pipe"
	}
	f.Name = "cell"
	file, err := table.Open("f.csv", strings.NewReader("id|cell\n1|"+cell+"\n"), p, []table.Field{f, {Name: "id"}})
	if err != nil {
		t.Fatal(err)
	}
	c := file.Field("cell")
	for file.Next() {
		read(c)
	}
	return file.Err()
}

func readTime(t *testing.T, c table.Clock, cell string) (at unit.Instant, err error) {
	t.Helper()
	err = one(t, table.Profile{Time: c}, table.Field{}, cell, func(c table.Column) { at = c.Time() })
	return at, err
}

func TestLocalTimes(t *testing.T) {
	const german, iso = "DD.MM.YYYY HH:mm", "YYYY-MM-DD HH:mm:ss"
	// Central European rules of 2025 (IANA tz database): on 03-30 at 02:00 clocks went to 03:00, on
	// 10-26 at 03:00 to 02:00. Samoa left out 2011-12-30; Lord Howe moves by half an hour.
	tests := []struct {
		name, zone, format, ambiguous, in string
		want, problem                     string
		reason                            string
	}{
		{"winter", "Europe/Berlin", german, "", "15.01.2025 08:05", "2025-01-15T07:05:00Z", "", "UTC+1"},
		{"summer", "Europe/Berlin", german, "", "15.07.2025 08:05", "2025-07-15T06:05:00Z", "", "UTC+2"},
		{"before the gap", "Europe/Berlin", iso, "", "2025-03-30 01:59:59", "2025-03-30T00:59:59Z", "", "the last second of winter"},
		{"in the gap", "Europe/Berlin", iso, "", "2025-03-30 02:30:00", "", "does not exist in Europe/Berlin", "left out"},
		{"gap begins", "Europe/Berlin", iso, "", "2025-03-30 02:00:00", "", "does not exist", "02:00 is already 03:00"},
		{"in the gap with a rule", "Europe/Berlin", iso, "first", "2025-03-30 02:30:00", "", "does not exist", "the rule is for times that come twice"},
		{"after the gap", "Europe/Berlin", iso, "", "2025-03-30 03:00:00", "2025-03-30T01:00:00Z", "", "the first second of summer"},
		{"before the overlap", "Europe/Berlin", iso, "", "2025-10-26 01:59:59", "2025-10-25T23:59:59Z", "", "once"},
		{
			"overlap begins", "Europe/Berlin", iso, "", "2025-10-26 02:00:00", "",
			"comes twice in Europe/Berlin, where clocks were set back: give the offset, +02:00 or +01:00, or say in the profile which counts (ambiguous)",
			"twice",
		},
		{"in the overlap", "Europe/Berlin", iso, "", "2025-10-26 02:30:00", "", "comes twice", "twice"},
		{"first", "Europe/Berlin", iso, "first", "2025-10-26 02:30:00", "2025-10-26T00:30:00Z", "", "still summer"},
		{"second", "Europe/Berlin", iso, "second", "2025-10-26 02:30:00", "2025-10-26T01:30:00Z", "", "already winter"},
		{"after the overlap", "Europe/Berlin", iso, "", "2025-10-26 03:00:00", "2025-10-26T02:00:00Z", "", "once"},
		{"day left out", "Pacific/Apia", iso, "", "2011-12-30 12:00:00", "", "does not exist", "the date line moved"},
		{"half hour gap", "Australia/Lord_Howe", iso, "", "2025-10-05 02:15:00", "", "does not exist", "02:00 to 02:30"},
		{"half hour after", "Australia/Lord_Howe", iso, "", "2025-10-05 02:30:00", "2025-10-04T15:30:00Z", "", "UTC+11"},
		{"UTC", "UTC", iso, "", "2025-03-30 02:30:00", "2025-03-30T02:30:00Z", "", "no gap"},
		{"leap second", "Europe/Berlin", iso, "", "2017-01-01 00:59:60", "2017-01-01T00:00:00Z", "", "midnight UTC at a month's end"},
		{"no leap second", "Europe/Berlin", iso, "", "2016-12-31 23:59:60", "", "no leap second can be", "22:59:60 UTC"},
		{"one digit", "Europe/Berlin", "D.M.YYYY H:mm", "", "5.1.2025 8:05", "2025-01-05T07:05:00Z", "", "one letter, one or two digits"},
		{"two digits for one letter", "Europe/Berlin", "D.M.YYYY H:mm", "", "25.12.2025 18:05", "2025-12-25T17:05:00Z", "", "one letter, one or two digits"},
		{"one digit too few", "Europe/Berlin", german, "", "5.01.2025 08:05", "", `is not a time like DD.MM.YYYY HH:mm`, "two letters, two digits"},
		{"noon", "UTC", "M/D/YYYY h:mm A", "", "3/5/2025 12:05 pm", "2025-03-05T12:05:00Z", "", "12 pm is noon"},
		{"midnight", "UTC", "M/D/YYYY h:mm A", "", "3/5/2025 12:05 AM", "2025-03-05T00:05:00Z", "", "12 am is midnight"},
		{"hour 13 of 12", "UTC", "M/D/YYYY hh:mm A", "", "3/5/2025 13:05 AM", "", "hour outside 1–12", "contradiction"},
		{"fraction", "UTC", "YYYY-MM-DD HH:mm:ss.S", "", "2025-03-05 01:02:03.25", "2025-03-05T01:02:03.25Z", "", "any number of digits"},
		{"offset", "", "YYYY-MM-DD HH:mmZ", "", "2025-10-26 02:30+0200", "2025-10-26T00:30:00Z", "", "needs no zone"},
		{"no separators", "UTC", "YYYYMMDDTHHmmss", "", "20250305T010203", "2025-03-05T01:02:03Z", "", "fixed widths need none"},
		{"day 31", "UTC", german, "", "31.04.2025 08:05", "", "names a day that does not exist", "April has 30"},
		{"hour 24", "UTC", german, "", "30.04.2025 24:00", "", "names a time of day that does not exist", "0–23"},
		{
			"default wants an offset", "Europe/Berlin", "", "", "2025-07-15T08:05:00", "",
			"is not a time like 2026-11-25T08:30:00+01:00 (with its offset)", "no guess, though there is a zone",
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := table.Clock{Zone: tt.zone, Ambiguous: tt.ambiguous}
			if tt.format != "" {
				c.Format = []string{tt.format}
			}
			got, err := readTime(t, c, tt.in)
			if tt.problem != "" {
				if err == nil || !strings.Contains(err.Error(), tt.problem) || got != 0 {
					t.Errorf("got %v, %v; want %q (%s)", got, err, tt.problem, tt.reason)
				}
				return
			}
			if err != nil || got.String() != tt.want {
				t.Errorf("got %v, %v; want %s (%s)", got, err, tt.want, tt.reason)
			}
		})
	}
}

func TestSeveralFormats(t *testing.T) {
	both := table.Clock{Zone: "UTC", Format: []string{"DD/MM/YYYY HH:mm", "MM/DD/YYYY HH:mm", "rfc3339"}}
	tests := []struct{ name, in, want, problem, reason string }{
		{"only one fits", "25/03/2025 08:00", "2025-03-25T08:00:00Z", "", "there is no month 25"},
		{"only the other fits", "03/25/2025 08:00", "2025-03-25T08:00:00Z", "", "there is no month 25"},
		{"both fit", "03/04/2025 08:00", "", "fits two of the profile's time formats", "no guess"},
		{"both fit alike", "04/04/2025 08:00", "2025-04-04T08:00:00Z", "", "the same moment"},
		{"third", "2025-04-04T08:00:00+02:00", "2025-04-04T06:00:00Z", "", "an offset beats the zone"},
		{"none", "04.04.2025", "", "is not a time like DD/MM/YYYY HH:mm or MM/DD/YYYY HH:mm or rfc3339", "all are named"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, err := readTime(t, both, tt.in)
			if (err != nil) != (tt.problem != "") || (err != nil && !strings.Contains(err.Error(), tt.problem)) {
				t.Fatalf("got %v, %v; want %q (%s)", got, err, tt.problem, tt.reason)
			}
			if err == nil && got.String() != tt.want {
				t.Errorf("got %v, want %s (%s)", got, tt.want, tt.reason)
			}
		})
	}
}

func FuzzTime(f *testing.F) {
	for _, seed := range []string{
		"2026-11-25T08:30:00Z", "1990-12-31T23:59:60Z", "2026-11-25T08:30:00,5Z", "2026-11-25t08:30:00.5+01:00", "25.10.2026 02:30",
		"0000-01-01T00:00:00+23:59", "9999-12-31T23:59:59-23:59", "3/5/2025 12:05 pm",
	} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		at, err := table.ParseTime(text)
		if err != nil {
			if at != 0 {
				t.Fatalf("%q: %v with %v", text, at, err)
			}
			return
		}
		// time.Parse accepts all that is valid but for leap seconds and lower case.
		upper := strings.ToUpper(text)
		want, oracle := time.Parse(time.RFC3339Nano, upper)
		if oracle != nil {
			want, oracle = time.Parse(time.RFC3339, strings.Replace(upper, ":60", ":59", 1))
			want = want.Truncate(time.Second).Add(time.Second)
		}
		if oracle != nil || at != unit.Instant(want.UnixMicro()) {
			t.Fatalf("%q: got %v; oracle %v, %v", text, at, want, oracle)
		}
		if year := at.Time().Year(); year >= 0 && year <= 9999 {
			if again, err := table.ParseTime(at.String()); err != nil || again != at {
				t.Fatalf("%q: %v reads back as %v, %v", text, at, again, err)
			}
		}
	})
}
