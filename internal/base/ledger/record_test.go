package ledger_test

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/gowebpki/jcs"
	"pgregory.net/rapid"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
)

func TestEncodeLiteral(t *testing.T) {
	r := ledger.Record{
		V: 1, Seq: 3, Type: "reading", ID: "017f22e2-79b0-7cc3-98c4-dc0c0c07398f", Site: "site-a",
		At: 1795593599_500000, Recorded: 1795593600_000000, By: "u-17", Device: "LUM-3",
		Because:  []ledger.ID{"017f22e2-79b0-8cc3-98c4-dc0c0c07398f"},
		Corrects: "017f22e2-79b0-7cc3-98c4-dc0c0c073990", Reason: "a \"b\"\n",
		Body: json.RawMessage(` { "rlu" : 142, "lot" : "L7\u00e9" } `),
	}
	const want = `{"at":1795593599500000,"because":["017f22e2-79b0-8cc3-98c4-dc0c0c07398f"],` +
		`"body":{"lot":"L7é","rlu":142},"by":"u-17","corrects":"017f22e2-79b0-7cc3-98c4-dc0c0c073990",` +
		`"device":"LUM-3","id":"017f22e2-79b0-7cc3-98c4-dc0c0c07398f","reason":"a \"b\"\n",` +
		`"recorded":1795593600000000,"seq":3,"site":"site-a","type":"reading","v":1}`
	got, err := ledger.Encode(r)
	if err != nil || string(got) != want {
		t.Errorf("got  %s, %v\nwant %s", got, err, want)
	}
}

func TestEncodeRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*ledger.Record)
		want   string
	}{
		"version":        {func(r *ledger.Record) { r.V = 2 }, "v is 2"},
		"seq":            {func(r *ledger.Record) { r.Seq = -1 }, "seq -1"},
		"seq 2^53":       {func(r *ledger.Record) { r.Seq = 1 << 53 }, "outside"},
		"no type":        {func(r *ledger.Record) { r.Type = "" }, "type \"\" is empty"},
		"quote in type":  {func(r *ledger.Record) { r.Type = `a"b` }, "holds a quote"},
		"no site":        {func(r *ledger.Record) { r.Site = "" }, "site \"\" is empty"},
		"no id":          {func(r *ledger.Record) { r.ID = "" }, "id \"\" is not a UUID"},
		"upper-case id":  {func(r *ledger.Record) { r.ID = "017F22E2-79B0-7CC3-98C4-DC0C0C07398F" }, "lower case"},
		"no at":          {func(r *ledger.Record) { r.At = 0 }, "at is 0"},
		"no recorded":    {func(r *ledger.Record) { r.Recorded = 0 }, "recorded is 0"},
		"late at":        {func(r *ledger.Record) { r.At = 1 << 53 }, "below 2^53"},
		"because":        {func(r *ledger.Record) { r.Because = []ledger.ID{"3"} }, "because[0] \"3\""},
		"corrects":       {func(r *ledger.Record) { r.Corrects = "3" }, "corrects \"3\""},
		"no reason":      {func(r *ledger.Record) { r.Corrects = r.ID }, "without a reason"},
		"by not UTF-8":   {func(r *ledger.Record) { r.By = "\xff" }, "not UTF-8"},
		"surrogate":      {func(r *ledger.Record) { r.Reason = "\xed\xa0\x80" }, "not UTF-8"},
		"no body":        {func(r *ledger.Record) { r.Body = nil }, "body: a JSON value is missing"},
		"body array":     {func(r *ledger.Record) { r.Body = json.RawMessage(`[]`) }, "body is not a JSON object"},
		"fraction":       {func(r *ledger.Record) { r.Body = json.RawMessage(`{"a":[{"rlu":1},{"rlu":3.5}]}`) }, "body.a[1].rlu: 3.5 is not a whole number"},
		"exponent":       {func(r *ledger.Record) { r.Body = json.RawMessage(`{"a":1e3}`) }, "body.a: 1e3"},
		"2^53":           {func(r *ledger.Record) { r.Body = json.RawMessage(`{"a b":9007199254740992}`) }, `body["a b"]: 9007199254740992`},
		"minus zero":     {func(r *ledger.Record) { r.Body = json.RawMessage(`{"a":-0}`) }, "body.a: -0"},
		"duplicate":      {func(r *ledger.Record) { r.Body = json.RawMessage(`{"b":{"a":1,"c":2,"\u0061":3}}`) }, `body.b.a: the name "a" stands twice`},
		"lone surrogate": {func(r *ledger.Record) { r.Body = json.RawMessage(`{"a":"\udc00"}`) }, "body.a: the text holds a broken escape"},
		"two lows":       {func(r *ledger.Record) { r.Body = json.RawMessage(`{"a":"\ud800\ud800"}`) }, "body.a: the text holds a broken escape"},
		"bad UTF-8":      {func(r *ledger.Record) { r.Body = json.RawMessage("{\"a\":\"\xc3\"}") }, "body.a: the text holds bytes"},
		"trailing":       {func(r *ledger.Record) { r.Body = json.RawMessage(`{} {}`) }, "body: there is text after the end"},
		"zero byte":      {func(r *ledger.Record) { r.Body = json.RawMessage("{}\x00") }, "body: there is text after the end"},
		"comma":          {func(r *ledger.Record) { r.Body = json.RawMessage(`{"a":1,}`) }, "should begin a name"},
		"too deep": {func(r *ledger.Record) {
			r.Body = json.RawMessage(`{"a":` + strings.Repeat("[", 70) + strings.Repeat("]", 70) + "}")
		}, "is nested deeper than 64"},
		"too long": {func(r *ledger.Record) { r.Body = json.RawMessage(`{"a":"` + strings.Repeat("x", 65535) + `"}`) }, "bytes long, the limit is 65535"},
	} {
		t.Run(name, func(t *testing.T) {
			r := record(3)
			c.change(&r)
			b, err := ledger.Encode(r)
			if err == nil {
				t.Fatalf("accepted: %s", b)
			}
			if !strings.Contains(err.Error(), c.want) {
				t.Errorf("error %q, expected %q", err, c.want)
			}
		})
	}
}

func TestEncodeLimit(t *testing.T) {
	r := record(0)
	r.Body = json.RawMessage(`{"a":""}`)
	b, err := ledger.Encode(r)
	if err != nil {
		t.Fatal(err)
	}
	room := ledger.MaxRecord - len(b)
	r.Body = json.RawMessage(`{"a":"` + strings.Repeat("x", room) + `"}`)
	if b, err = ledger.Encode(r); err != nil || len(b) != 65535 {
		t.Errorf("%d bytes, %v", len(b), err)
	}
	r.Body = json.RawMessage(`{"a":"` + strings.Repeat("x", room+1) + `"}`)
	if _, err = ledger.Encode(r); err == nil || !strings.Contains(err.Error(), "65536 bytes long, the limit is 65535") {
		t.Errorf("one byte more: %v", err)
	}
}

func TestDecodeIsStrict(t *testing.T) {
	b, err := ledger.Encode(record(14))
	if err != nil {
		t.Fatal(err)
	}
	good := string(b)
	if _, err := ledger.Decode(b); err != nil {
		t.Fatal(err)
	}
	for name, bad := range map[string]string{
		"empty":           "",
		"unknown field":   strings.Replace(good, `,"v":1}`, `,"v":1,"w":2}`, 1),
		"case":            strings.Replace(good, `"seq"`, `"Seq"`, 1),
		"space":           strings.Replace(good, `"seq":`, `"seq": `, 1),
		"duplicate":       strings.Replace(good, `,"v":1}`, `,"v":1,"v":1}`, 1),
		"order":           strings.Replace(good, `,"type":"correction","v":1}`, `,"v":1,"type":"correction"}`, 1),
		"body order":      strings.Replace(good, `"lot":"L7","point":"biopsy channel"`, `"point":"biopsy channel","lot":"L7"`, 1),
		"escape":          strings.Replace(good, "site-a", `site-\u0061`, 1),
		"empty device":    strings.Replace(good, `"device":"LUM-3"`, `"device":""`, 1),
		"trailing":        good + "\n",
		"second document": good + good,
		"missing by":      strings.Replace(good, `,"by":"u-17"`, "", 1),
		"number form":     strings.Replace(good, `"seq":14`, `"seq":14.0`, 1),
		"other version":   strings.Replace(good, `"v":1}`, `"v":2}`, 1),
		"null":            "null",
	} {
		if bad == good {
			t.Fatalf("%s: nothing was changed", name)
		}
		if r, err := ledger.Decode([]byte(bad)); err == nil {
			t.Errorf("%s: decoded as %+v", name, r)
		}
	}
}

func TestTail(t *testing.T) {
	for n := range int64(30) {
		r := record(n)
		r.Body = json.RawMessage(`{"x":{"id":"` + string(record(99).ID) + `","reason":"r","recorded":7,"seq":9,"site":"no","type":"no","v":1}}`)
		b, err := ledger.Encode(r)
		if err != nil {
			t.Fatal(err)
		}
		want := ledger.Ending{Seq: n, ID: r.ID, Recorded: r.Recorded, Site: r.Site, Type: r.Type}
		if got, err := ledger.Tail(b); err != nil || got != want {
			t.Errorf("%d: %+v, %v", n, got, err)
		}
	}
	for _, bad := range []string{"", "{}", `{"v":1}`, `,"seq":01,"site":"a","type":"b","v":1}`, `"type":"b","v":1}`} {
		if e, err := ledger.Tail([]byte(bad)); err == nil {
			t.Errorf("Tail(%q) = %+v", bad, e)
		}
	}
}

func genValue(depth int) *rapid.Generator[any] {
	text := rapid.StringOf(rapid.OneOf(rapid.Rune(), rapid.RuneFrom([]rune{'"', '\\', '\n', 0, 0x7f, 'é', 0xfb33, 0x1f602, 0xffff, 0x10000})))
	kinds := []*rapid.Generator[any]{
		text.AsAny(), rapid.Bool().AsAny(), rapid.Just[any](nil),
		rapid.Int64Range(-(1<<53 - 1), 1<<53-1).AsAny(),
	}
	if depth > 0 {
		kinds = append(kinds, rapid.SliceOfN(genValue(depth-1), 0, 4).AsAny(), rapid.MapOfN(text, genValue(depth-1), 0, 6).AsAny())
	}
	return rapid.OneOf(kinds...)
}

func genRecord() *rapid.Generator[ledger.Record] {
	return rapid.Custom(func(t *rapid.T) ledger.Record {
		id := func(name string) ledger.ID { return ledger.DerivedID(rapid.String().Draw(t, name)) }
		name := rapid.StringMatching(`[a-zé.\-]{1,12}`)
		text := rapid.String()
		body, err := json.Marshal(rapid.MapOfN(text, genValue(2), 0, 5).Draw(t, "body"))
		if err != nil {
			t.Fatal(err)
		}
		r := ledger.Record{
			V: 1, Seq: rapid.Int64Range(0, 1<<53-1).Draw(t, "seq"), Type: name.Draw(t, "type"), ID: id("id"), Site: name.Draw(t, "site"),
			At:       unit.Instant(rapid.Int64Range(1, 1<<53-1).Draw(t, "at")),
			Recorded: unit.Instant(rapid.Int64Range(1, 1<<53-1).Draw(t, "recorded")),
			By:       text.Draw(t, "by"), Device: text.Draw(t, "device"), Reason: text.Draw(t, "reason"), Body: body,
		}
		for range rapid.IntRange(0, 3).Draw(t, "links") {
			r.Because = append(r.Because, id("because"))
		}
		if r.Reason != "" && rapid.Bool().Draw(t, "corrects") {
			r.Corrects = id("corrects")
		}
		return r
	})
}

func TestEncodeEqualsReferenceAndDecodes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := genRecord().Draw(t, "record")
		got, err := ledger.Encode(r)
		if err != nil {
			t.Fatal(err)
		}
		plain, err := json.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		want, err := jcs.Transform(plain)
		if err != nil || string(got) != string(want) {
			t.Fatalf("got  %s\nwant %s, %v", got, want, err)
		}
		back, err := ledger.Decode(got)
		if err != nil {
			t.Fatal(err)
		}
		if r.Body, err = ledger.Canonical(r.Body); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(r, back); diff != "" {
			t.Fatal(diff)
		}
		e, err := ledger.Tail(got)
		if want := (ledger.Ending{Seq: r.Seq, ID: r.ID, Recorded: r.Recorded, Site: r.Site, Type: r.Type}); err != nil || e != want {
			t.Fatalf("tail %+v, %v", e, err)
		}
	})
}
