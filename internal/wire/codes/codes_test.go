package codes_test

import (
	"encoding/xml"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/wire/codes"
)

// The widths of bars and spaces of each symbol character of Code 128, by its value (ISO/IEC 15417:2007,
// table 1); from memory.
var widths = strings.Fields(`212222 222122 222221 121223 121322 131222 122213 122312 132212 221213 221312 231212 112232 122132
122231 113222 123122 123221 223211 221132 221231 213212 223112 312131 311222 321122 321221 312212 322112 322211 212123 212321
232121 111323 131123 131321 112313 132113 132311 211313 231113 231311 112133 112331 132131 113123 113321 133121 313121 211331
231131 213113 213311 213131 311123 311321 331121 312113 312311 332111 314111 221411 431111 111224 111422 121124 121421 141122
141221 112214 112412 122114 122411 142112 142211 241211 221114 413111 241112 134111 111242 121142 121241 114212 124112 124211
411212 421112 421211 212141 214121 412121 111143 111341 131141 114113 114311 411113 411311 113141 114131 311141 411131 211412
211214 211232`)

const (
	codeC, codeB = 99, 100
	startA       = 103
	startB       = 104
	startC       = 105
	stop         = "2331112"
)

// decode reads the path of a symbol as a scanner does.
func decode(t *rapid.T, svg string) string {
	var runs []byte
	end := 10
	for _, m := range regexp.MustCompile(`M(\d+) 0h(\d+)v`).FindAllStringSubmatch(svg, -1) {
		x, _ := strconv.Atoi(m[1])
		w, _ := strconv.Atoi(m[2])
		if len(runs) > 0 {
			runs = append(runs, byte('0'+x-end))
		} else if x != 10 {
			t.Fatalf("the quiet zone is %d modules wide", x)
		}
		runs = append(runs, byte('0'+w))
		end = x + w
	}
	if len(runs) < 13 || string(runs[len(runs)-7:]) != stop {
		t.Fatalf("no stop in %s", runs)
	}
	var values []int
	for i := 0; i+6 <= len(runs)-7; i += 6 {
		v := -1
		for n, w := range widths {
			if w == string(runs[i:i+6]) {
				v = n
			}
		}
		if v < 0 {
			t.Fatalf("%s is no symbol character", runs[i:i+6])
		}
		values = append(values, v)
	}
	sum := values[0]
	for i, v := range values[1 : len(values)-1] {
		sum += (i + 1) * v
	}
	if sum%103 != values[len(values)-1] {
		t.Fatalf("the check character is %d, want %d", values[len(values)-1], sum%103)
	}
	set, text := values[0], ""
	for _, v := range values[1 : len(values)-1] {
		switch {
		case set == startC && v < 100:
			text += string([]byte{byte('0' + v/10), byte('0' + v%10)})
		case v == codeB && set != startB:
			set = startB
		case v == codeC && set != startC:
			set = startC
		case set == startB && v < 96:
			text += string([]byte{byte(v + 32)})
		default:
			t.Fatalf("value %d in code set %d", v, set-startA)
		}
	}
	return text
}

func TestCode128IsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[ -~]{1,30}`).Draw(t, "text")
		svg, err := codes.Code128(text, 40)
		if err != nil {
			t.Fatal(err)
		}
		var parsed struct {
			Label string `xml:"aria-label,attr"`
		}
		if err := xml.Unmarshal(svg, &parsed); err != nil || parsed.Label != "Code "+text {
			t.Fatalf("label %q: %v", parsed.Label, err)
		}
		if got := decode(t, string(svg)); got != text {
			t.Fatalf("read %q, want %q", got, text)
		}
	})
}

func TestWhatCode128CannotHold(t *testing.T) {
	for _, text := range []string{"", "Größe", strings.Repeat("x", 200)} {
		if _, err := codes.Code128(text, 40); err == nil {
			t.Errorf("%q was drawn", text)
		}
	}
}
