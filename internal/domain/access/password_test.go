package access_test

import (
	"errors"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/domain/access"
)

// words are what somebody who guesses knows.
var words = []string{"Example clinic", "T-01", "Kim Muster"}

func TestPasswordsThatDo(t *testing.T) {
	t.Parallel()
	for _, password := range []string{
		"crumb lantern oboe drift",
		"Twelve otters bring a password", // a common word in it is no reason
		"ein Fenster zum Hof hinaus",
		"kurz vor 1999 war alles anders",
		"гитара на подоконнике",
		"窓辺に置いた古いギターの音色は静か",
		"🦦🌧🪗🧭🫖🦦🪁🧭🌧🫖🪗🎏🪁🎏🦦",
		strings.Repeat("z8#Qp!m2", 1) + "vK4&tR9xW",
		"lantern lantern oboe", // a block of eight that is repeated counts once
		strings.Repeat("crumb lantern oboe drift walk over ", 7)[:64],
	} {
		if err := access.CheckPassword(password, false, words...); err != nil {
			t.Errorf("%q: %v", password, err)
		}
	}
}

func TestPasswordsThatDoNot(t *testing.T) {
	t.Parallel()
	tests := []struct {
		reason, password, part string
	}{
		{"nothing", "", "has 0 characters"},
		{"one too short", "crumb lantern ", "has 14 characters; at least 15"},
		{"too short in characters, not in bytes", "äöüßäöüßäöüß", "has 12 characters"},
		{"composed characters count once", "a\u0308o\u0308u\u0308e\u0301a\u0300o\u0302u\u0302e\u0300", "has 8 characters"},
		{"one sign", "aaaaaaaaaaaaaaaa", `"a" again and again`},
		{"one word", "passwordpassword", `"password"`},
		{"a word, cut off", "passwordpasswordpass", `"password"`},
		{"a short block", "xk9xk9xk9xk9xk9xk9", `"xk9" again and again`},
		{"the alphabet", "abcdefghijklmnop", `the sequence "abcdefghijklmnop"`},
		{"backwards", "9876543210987654", "the sequence"},
		{"two rows of a keyboard", "qwertyuiopasdfgh", "the"},
		{"columns of a keyboard", "1qaz2wsx3edc4rfv", "the sequence"},
		{"a word and digits", "Password12345678", `the common word "password"`},
		{"a word with other signs", "P@ssw0rd12345678!!", `the common word "p@ssw0rd"`},
		{"a famous passphrase", "correct horse battery staple", "the common word"},
		{"another one", "to be or not to be", "the common word"},
		{"separators do not hide it", "pass-word.pass_word", `"password"`},
		{"case neither", "WELCOME welcome WeLcOmE", "again and again"},
		{"the program", "Rinsate2026!!Rinsate", `the common word "rinsate"`},
		{"the site", "example-clinic-2026", `the name "exampleclinic"`},
		{"the person", "kim muster kim muster 1", "the name"},
		{"the code", "t-01 t-01 hello 1999", `the name "t01"`},
		{"the trade", "endoscope cleaning 2026", `the common word "endoscope"`},
		{"the season", "Sommer2026Winter2027!", `the common word "sommer"`},
		{"a control character", "crumb lantern\toboe drift", "control character"},
		{"the end of a line", "crumb lantern oboe drift\n", "control character"},
		{"no text", "crumb lantern oboe drift\xff", "UTF-8"},
		{"too long", strings.Repeat("crumb lantern oboe ", 14), "longer than 256"},
		{"far too long", strings.Repeat("a\u0308", 1<<20), "longer than 256"},
	}
	for _, test := range tests {
		err := access.CheckPassword(test.password, false, words...)
		if !errors.Is(err, access.ErrArgument) || !strings.Contains(err.Error(), test.part) {
			t.Errorf("%s: %q: %v, want %q in it", test.reason, test.password, err, test.part)
		}
	}
}

func TestPasswordBesideAnotherFactor(t *testing.T) {
	t.Parallel()
	if err := access.CheckPassword("kx8 mq2v", true); err != nil {
		t.Error(err)
	}
	for _, password := range []string{"kx8 mq2", "password", "12345678", "Qwertz12", "summer26", "11223344"[:7]} {
		if err := access.CheckPassword(password, true); !errors.Is(err, access.ErrArgument) {
			t.Errorf("%q: %v", password, err)
		}
	}
}

// Any text of 64 characters is allowed unless it is made of pieces, and nothing panics on any text.
func TestAnyPassword(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		password := rapid.String().Draw(t, "password")
		err := access.CheckPassword(password, false, rapid.String().Draw(t, "word"))
		if err != nil && !errors.Is(err, access.ErrArgument) {
			t.Fatal(err)
		}
		// The form in which a keyboard sends it makes no difference.
		if again := access.CheckPassword(access.Normal(password), false); (access.CheckPassword(password, false) == nil) != (again == nil) {
			t.Fatalf("%q is judged otherwise after normalisation: %v", password, again)
		}
	})
}

// A single common word, whatever stands before and behind in digits and signs, is refused.
func TestDecoratedWord(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.SampledFrom([]string{"password", "Krankenhaus", "iloveyou", "Endoscopy", "LETMEIN"}).Draw(t, "word")
		before := rapid.SampledFrom([]string{"", "1", "!", "2026"}).Draw(t, "before")
		behind := rapid.SampledFrom([]string{"", "123456789", "!!!!!!!!!", "1999", "??"}).Draw(t, "behind")
		if err := access.CheckPassword(before+word+behind, true); !errors.Is(err, access.ErrArgument) {
			t.Fatalf("%s: %v", before+word+behind, err)
		}
	})
}

func TestPINs(t *testing.T) {
	t.Parallel()
	for _, pin := range []string{"4071", "83604", "705184", "4096173", "60937251"} {
		if err := access.CheckPIN(pin); err != nil {
			t.Error(err)
		}
	}
	tests := []struct{ pin, part string }{
		{"", "4 to 8 digits"},
		{"407", "4 to 8 digits"},
		{"407184093", "4 to 8 digits"},
		{"40a1", "4 to 8 digits"},
		{" 4071", "4 to 8 digits"},
		{"٤٠٧١", "4 to 8 digits"},
		{"0000", "a repetition"},
		{"1212", "a repetition"},
		{"123123", "a repetition"},
		{"1234", "a sequence"},
		{"8901", "a sequence"},
		{"4321", "a sequence"},
		{"87654321", "a sequence"},
		{"4774", "the same from both ends"},
		{"1987", "a year"},
		{"2031", "a year"},
		{"311299", "a date"},
		{"19991231", "a date"},
		{"24121975", "a date"},
		{"2580", "a line on the keypad"},
		{"147258", "a line on the keypad"},
	}
	for _, test := range tests {
		if err := access.CheckPIN(test.pin); !errors.Is(err, access.ErrArgument) || !strings.Contains(err.Error(), test.part) {
			t.Errorf("%q: %v, want %q in it", test.pin, err, test.part)
		}
	}
}

func TestBadges(t *testing.T) {
	t.Parallel()
	for _, badge := range []string{"482913", "A7-99-31 x", strings.Repeat("Z", 128)} {
		if err := access.CheckBadge(badge); err != nil {
			t.Error(err)
		}
	}
	for _, badge := range []string{"", "12345", " 482913", "482913\r", strings.Repeat("Z", 129), "48291\xff"} {
		if err := access.CheckBadge(badge); !errors.Is(err, access.ErrArgument) {
			t.Errorf("%q: %v", badge, err)
		}
	}
}
