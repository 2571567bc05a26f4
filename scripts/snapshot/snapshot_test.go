package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestRenames(t *testing.T) {
	r, err := parseRenames(`
# the trade's words
gate => ready
in work => in reprocessing
below => OK
ready => release
held =>
step_kind => kind
gate check => release check
/gate => /ready
`)
	if err != nil {
		t.Fatal(err)
	}
	for _, test := range []struct{ reason, old, want string }{
		{"a word", "the gate says", "the ready says"},
		{"not a part of one", "investigate gates gate_2 delegate", "investigate gates gate_2 delegate"},
		{"signs are no part of a word", `"gate":[gate-gate]`, `"ready":[ready-ready]`},
		{"several words", "… in work since", "… in reprocessing since"},
		{"in one pass", "gate, ready", "ready, release"},
		{"the longest first", "a gate check", "a release check"},
		{"a shorter one where the longest is a part of a word", "a gate checker", "a ready checker"},
		{"taken away", "■ held now", "■  now"},
		{"a name with a line below", "step_kind other_step_kind", "kind other_step_kind"},
		{"an address", "page L-01 /gate/D-01", "page L-01 /ready/D-01"},
		{"after a letter that takes two bytes", "übelow below", "übelow OK"},
		{"nothing to do", "Gate", "Gate"},
	} {
		if got := r.apply(test.old); got != test.want {
			t.Errorf("%s: %q became %q, want %q", test.reason, test.old, got, test.want)
		}
	}
	for _, wrong := range []string{"gate ready", "=> ready", "a => b\na => c"} {
		if _, err := parseRenames(wrong); err == nil {
			t.Errorf("%q: no error", wrong)
		}
	}
	none, err := parseRenames("# nothing\n")
	if err != nil || none.apply("gate") != "gate" {
		t.Errorf("an empty table: %v", err)
	}
	if _, err := readRenames("renames.txt"); err != nil {
		t.Errorf("the table of the repository: %v", err)
	}
}

const (
	hold     = "45efdc1b-71c2-8d5e-a1b0-0a1b2c3d4e5f"
	made     = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
	made2    = "017f22e2-79b0-7111-98c4-dc0c0c07398f" // made in the same millisecond
	stranger = "01890a5d-ac96-774b-bcce-b302099a8057"
	another  = "01890a5d-ac96-774b-bcce-b302099a8058"
)

func TestStable(t *testing.T) {
	at := time.Date(2026, 3, 2, 10, 0, 0, 0, time.FixedZone("", 3600))
	s := newStable([]named{{hold, at}, {made, at}, {made2, at.Add(1500 * time.Millisecond)}}, "/var/t/snapshot-1", "‹temporary›")
	s.people["person 12"] = "person ‹T-05›"
	for _, test := range []struct{ reason, text, want string }{
		{"an id", "/records/" + hold + "/record.json", "/records/r-20260302T090000-1/record.json"},
		{"two of one instant, and a fraction of a second", made + " " + made2, "r-20260302T090000-2 r-20260302T090001.5-1"},
		{"the beginning of an id", "record 45efdc1b-71c2", "record r-20260302T090000-1…"},
		{"one that two ids share", "record 017f22e2-79b0", "record ‹id›…"},
		{"ids that are not known keep apart", stranger + " " + another + " " + stranger, "‹id 1› ‹id 2› ‹id 1›"},
		{"a place", "in /var/t/snapshot-1/data", "in ‹temporary›/data"},
		{"a style sheet", `<link href="/static/help/app-0123456789ab.css">`, `<link href="/static/help/app.css">`},
		{"a root hash", "root 9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08", "root ‹hash›"},
		{"a key", "rinsate.local/N+1a2b3c4d+AQIDBAUGBwgJCgsMDQ4PEBESExQVFhcYGRobHB0eHyAh", "rinsate.local/N+‹key›"},
		{"a signature", "— name CsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I6z8oH0w==", "— name ‹base64›"},
		{"a root hash without a digit and with many signs", "9qgtUu/WmvKAFS/u/p/wy/eHVV5/YdIzlVZYljTefik=", "‹base64›"},
		{"a token", "token 9qgtUu-WmvKAFS_uBpAwyCeHVV5DYdIzlVZYljTefik", "token ‹base64›"},
		{"a session", "[value=f467f07d2894] since", "[value=‹hash›] since"},
		{"an id in an address in an address", "/sign-in?next=%2Frecords%2F" + made, "/sign-in?next=%2Frecords%2Fr-20260302T090000-2"},
		{"the disk", "74.1 GB free; at least 1 GB", "‹space› GB free; at least 1 GB"},
		{"somebody hidden", "Person 12, person 12 and person 3", "person ‹T-05›, person ‹T-05› and person 3"},
		{"a one-time code", "code 7F3K-9QZD-AAAA-0000-ZZZZ-1234.", "code ‹one-time code›."},
		{
			"times, numbers and words stay", "2026-03-02 10:00 +01:00, 0.085, D-01, 1795696432000000, " +
				"elevator-wire-channel/outer-distal-end-and-more",
			"2026-03-02 10:00 +01:00, 0.085, D-01, 1795696432000000, elevator-wire-channel/outer-distal-end-and-more",
		},
		{
			"a long address stays", "/set-up/models/Marrow-D2/points/elevator-recess?from=2026-01-01",
			"/set-up/models/Marrow-D2/points/elevator-recess?from=2026-01-01",
		},
	} {
		if got := s.text(test.text); got != test.want {
			t.Errorf("%s: %q became %q, want %q", test.reason, test.text, got, test.want)
		}
	}
	if got, want := s.back("/records/r-20260302T090001.5-1?q=r-1-1"), "/records/"+made2+"?q=r-1-1"; got != want {
		t.Errorf("back: got %q, want %q", got, want)
	}
}

func TestTidyJSON(t *testing.T) {
	got, ok := tidyJSON(
		`{"b":[1.50,{"y":"gate","x":null}],"a":12345678901234567890}`+"\n",
		func(text string) string { return strings.ReplaceAll(text, "y", "0") },
	)
	want := "{\n \"a\": 12345678901234567890,\n \"b\": [\n  1.50,\n  {\n   \"0\": \"gate\",\n   \"x\": null\n  }\n ]\n}\n"
	if !ok || got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	for _, text := range []string{"", "gate", `"gate"`, "{} {}", "[1,", "{1}"} {
		if _, ok := tidyJSON(text, unchanged); ok {
			t.Errorf("%q is taken for a document", text)
		}
	}
}

func TestReadPage(t *testing.T) {
	p := readPage(`<!doctype html><html><head><title>Gate</title><style>p { color: red }</style><script>let a = "<p>"</script></head>
<body class="wide"><p>D-01 is
	<b>ready</b>, <a href="/records/1?x=1&amp;y=2" title="who">why</a>.</p><script type="application/json">{"now": 1}</script>
<input name="q" value="2" placeholder="a tag" required><svg role="img" aria-label="3 readings"><path d="M0 0"/><text>RLU</text></svg></body></html>`)
	want := strings.Join([]string{
		"Gate", "D-01 is ready, [href=/records/1?x=1&y=2; title=who] why.", `{"now": 1}`,
		"[placeholder=a tag; required; value=2]", "[aria-label=3 readings]", "RLU",
	}, "\n")
	if p.text != want {
		t.Errorf("got\n%s\nwant\n%s", p.text, want)
	}
	if len(p.links) != 1 || p.links[0] != "/records/1?x=1&y=2" {
		t.Errorf("links: %q", p.links)
	}
}

// Each change is printed once, the most frequent first, with how often it was found; renamed words, the
// order of fields and the width of columns are no difference.
func TestCompare(t *testing.T) {
	table, err := parseRenames("gate => ready\nheld => on hold\nzone => area")
	if err != nil {
		t.Fatal(err)
	}
	old := map[string]string{
		"page L-01 /gate":  "status 200\nGate\nheld\nsame\nfoot 1\n",
		"page T-01 /gate":  "status 200\nGate\nheld\nsame\nfoot 1\n",
		"page T-01 /other": "status 200\nfoot 1\nb\nc\nd\ne\nf\nalone\n",
		"numbers gate":     `{"gate": 1, "zone": "held"}`,
		"command gate":     "scope  gate\n───────────\nD-01   held\n",
		"page T-01 /gone":  "status 200\n",
	}
	now := map[string]string{
		"page L-01 /ready": "status 200\nGate\non hold\nsame\nfoot 2\n",
		"page T-01 /ready": "status 200\nGate\non hold\nsame\nfoot 2\n",
		"page T-01 /other": "status 200\nfoot 2\nb\nc\nd\ne\nf\n",
		"numbers ready":    "{\n \"area\": \"on hold\",\n \"ready\": 1\n}\n",
		"command ready":    "scope    ready\n──────────────\nD-01     on hold\n",
		"page T-01 /added": "status 200\n",
	}
	var out bytes.Buffer
	c := comparer{out: &out, renames: table}
	if got := c.compare(old, now); got != 5 {
		t.Errorf("%d entries differ, want 3, one that is gone and one that was added", got)
	}
	want := `=== 3 times in 3 entries: page L-01 /ready, page T-01 /other, page T-01 /ready
 same
-foot 1
+foot 2

=== 1 times in 1 entries: page T-01 /other
 f
-alone

only in the old record: page T-01 /gone
only in the new record: page T-01 /added
5 entries compared: 3 differ by 2 different changes, 1 are only in the old record, 1 only in the new one
`
	if out.String() != want {
		t.Errorf("got\n%s\nwant\n%s", out.String(), want)
	}
	out.Reset()
	c.full = true
	c.compare(old, now)
	if got := strings.Count(out.String(), "+foot 2"); got != 3 {
		t.Errorf("the change stands %d times in the full difference, want 3:\n%s", got, out.String())
	}
	out.Reset()
	if got := (&comparer{out: &out, renames: renames{}}).compare(now, now); got != 0 {
		t.Errorf("a record differs from itself:\n%s", out.String())
	}
}

func TestEntries(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "record")
	f, err := newFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]string{"page L-01 /gate/D-01?a=b": "status 200\nready\n", "page L-01 /gate/D-01/a=b": "", "help gate --help": "Usage\n"}
	for key, body := range want {
		if err := f.write(key, body); err != nil {
			t.Fatal(err)
		}
	}
	if err := f.write("help gate --help", "again"); err == nil {
		t.Error("two entries with one key")
	}
	want["page L-01 /gate/D-01/a=b"] = "\n"
	got, err := readEntries(dir)
	if err != nil || len(got) != len(want) {
		t.Fatalf("got %q, %v", got, err)
	}
	for key, body := range want {
		if got[key] != body {
			t.Errorf("%s: got %q, want %q", key, got[key], body)
		}
	}
	if _, err := newFolder(dir); err == nil {
		t.Error("a record was begun in a folder that holds one")
	}
	if _, err := readEntries(t.TempDir()); err == nil {
		t.Error("an empty folder was taken for a record")
	}
	table := filepath.Join(t.TempDir(), "renames")
	if _, err := addressesOf(dir, table); err == nil {
		t.Error("a table that is missing")
	}
	if err := os.WriteFile(table, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	list, err := addressesOf(dir, table)
	if err != nil || len(list) != 2 || list[1].who != "L-01" || list[1].address != "/gate/D-01?a=b" {
		t.Errorf("the addresses are %q, %v", list, err)
	}
}

func TestWords(t *testing.T) {
	got := words("hold D-01  --reason 'two words' --by=L-01 ''")
	want := []string{"hold", "D-01", "--reason", "two words", "--by=L-01", ""}
	if strings.Join(got, "|") != strings.Join(want, "|") || len(got) != len(want) {
		t.Errorf("got %q, want %q", got, want)
	}
}
