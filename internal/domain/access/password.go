package access

import (
	_ "embed"
	"fmt"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// The lengths of a password in characters (Unicode code points after NFC), after NIST SP 800-63B-4
// section 3.1.1.2: at least 15 when it is the only factor and 8 beside a second one, with at least 64
// allowed. ASVS 5.0 V6.2 asks for the same and for no rules of composition.
const (
	ShortestAlone  = 15
	ShortestSecond = 8
	LongestSecret  = 256
)

// longestInput bounds the work of normalising what a stranger sends, in bytes; nothing of
// LongestSecret characters that a keyboard can send is longer.
const longestInput = 4096

// fewestOpen is how many characters must be left of a password when everything is set aside that a
// list or a pattern would guess, each such piece counting as one. Common practice.
const fewestOpen = 6

// Normal returns the form of a password that is measured and hashed: NFC, since the same key gives
// other bytes on other machines (NIST SP 800-63B-4 section 3.1.1.2). Nothing is cut off, and spaces
// stay.
func Normal(password string) string { return norm.NFC.String(password) }

// CheckPassword refuses a password that is too short, too long, or made of what is guessed first. second
// says that it is asked for beside a second factor, so that 8 characters do. words are names that
// somebody who guesses knows: the site, the person's code and name. The error says which part of the
// password is the reason, as NIST asks, and wraps ErrArgument.
func CheckPassword(password string, second bool, words ...string) error {
	if err := checkText(password); err != nil {
		return err
	}
	shortest := ShortestAlone
	if second {
		shortest = ShortestSecond
	}
	password = Normal(password)
	if n := utf8.RuneCountInString(password); n < shortest {
		return fmt.Errorf("%w: the password has %d characters; at least %d are needed. Several words that nobody else would put "+
			"together do well", ErrArgument, n, shortest)
	}
	if open, pieces := strength(password, words); open < fewestOpen {
		return fmt.Errorf("%w: the password is guessed early, since it is made of %s. Several words that nobody else would put together do well",
			ErrArgument, strings.Join(pieces, ", "))
	}
	return nil
}

// checkText refuses what is not a text of a length that can be a secret.
func checkText(secret string) error {
	switch {
	case len(secret) > longestInput || utf8.RuneCountInString(Normal(secret)) > LongestSecret:
		return fmt.Errorf("%w: it is longer than %d characters", ErrArgument, LongestSecret)
	case !utf8.ValidString(secret):
		return fmt.Errorf("%w: it is not a text in UTF-8", ErrArgument)
	case strings.ContainsFunc(secret, unicode.IsControl):
		return fmt.Errorf("%w: it holds a control character, such as a tab or the end of a line", ErrArgument)
	}
	return nil
}

// common.txt lists what is guessed first, folded as fold does.
//
//go:embed common.txt
var commonText string

// commonWords returns the lines of common.txt.
var commonWords = sync.OnceValue(func() []string {
	var words []string
	for line := range strings.Lines(commonText) {
		if line = strings.TrimSpace(line); line != "" && !strings.HasPrefix(line, "#") {
			words = append(words, line)
		}
	}
	return words
})

// fold returns a text as somebody who guesses sees it: without case, accents' order, and what stands
// between words.
func fold(text string) []rune {
	var folded []rune
	for _, c := range norm.NFKC.String(text) {
		if c = unicode.ToLower(c); !unicode.IsSpace(c) && !strings.ContainsRune("-_.,:;/+*", c) {
			folded = append(folded, c)
		}
	}
	return folded
}

// swaps are the usual replacements of letters by other signs.
var swaps = strings.NewReplacer("0", "o", "1", "l", "3", "e", "4", "a", "5", "s", "7", "t", "@", "a", "$", "s", "!", "i", "|", "l", "€", "e")

// strength counts the characters of a password that are not part of a common word, of one of words, of
// a sequence or a year, each of which counts as one; pieces names these. What is repeated counts once,
// and when it is shorter than any password it is one piece.
func strength(password string, words []string) (open int, pieces []string) {
	text := fold(password)
	plain := []rune(swaps.Replace(string(text))) // every swap is one character for one
	known := knownWords(words)
	block := period(text)
	if block < len(text) && block < ShortestSecond {
		return 1, []string{fmt.Sprintf("%q again and again", string(text[:block]))}
	}
	text, plain = text[:block], plain[:block]
	for at := 0; at < len(text); {
		n, what := piece(text[at:], plain[at:], known)
		if n == 0 {
			n = 1
		} else {
			pieces = append(pieces, fmt.Sprintf("%s %q", what, string(text[at:at+n])))
		}
		open++
		at += n
	}
	if len(pieces) == 0 {
		pieces = []string{"too few different signs"}
	}
	return open, pieces
}

// knownWords adds to the common words those of the place, whole and in parts of four letters or more.
func knownWords(words []string) map[string]string {
	known := map[string]string{}
	for _, w := range commonWords() {
		known[w] = "the common word"
	}
	for _, w := range words {
		for _, part := range append(strings.Fields(w), w) {
			if f := fold(part); len(f) >= 3 {
				known[string(f)] = "the name"
			}
		}
	}
	return known
}

// period returns the length of the shortest block of which the text is a repetition, also one that is
// cut off at the end; the whole length when it is none.
func period(text []rune) int {
	for p := 1; p <= len(text)/2; p++ {
		same := true
		for i := p; i < len(text) && same; i++ {
			same = text[i] == text[i-p]
		}
		if same {
			return p
		}
	}
	return len(text)
}

// longestWord bounds the search for common words, in characters.
const longestWord = 48

// piece returns how many characters at the beginning of the text are one guess, and what that is; 0
// when they are not.
func piece(text, plain []rune, known map[string]string) (n int, what string) {
	for end := min(len(text), longestWord); end >= 3; end-- {
		if what, ok := known[string(text[:end])]; ok {
			return end, what
		}
		if what, ok := known[string(plain[:end])]; ok {
			return end, what
		}
	}
	if n := sequence(text); n >= 3 {
		return n, "the sequence"
	}
	if len(text) >= 4 && (string(text[:2]) == "19" || string(text[:2]) == "20") && unicode.IsDigit(text[2]) && unicode.IsDigit(text[3]) {
		return 4, "the year"
	}
	return 0, ""
}

// rows are the orders that people walk along: the alphabet, the digits, and the rows and columns of
// keyboards. Each is also walked backwards.
var rows = [][]rune{
	[]rune("abcdefghijklmnopqrstuvwxyz"), []rune("01234567890123456789"),
	[]rune("qwertyuiop"), []rune("qwertzuiopü"), []rune("azertyuiop"),
	[]rune("asdfghjklöä"), []rune("asdfghjkl"), []rune("qsdfghjklm"),
	[]rune("zxcvbnm"), []rune("yxcvbnm"), []rune("wxcvbn"),
	[]rune("1qaz2wsx3edc4rfv5tgb6yhn7ujm8ik9ol0p"), []rune("1q2w3e4r5t6y7u8i9o0p"), []rune("1a2b3c4d5e6f7g8h9i0j"), []rune("a1b2c3d4e5f6g7h8i9j0"),
	[]rune("!@#$%^&()"), []rune(`!"§$%&()=`), []rune("!\"£$%^&()"),
}

// sequence returns how many characters at the beginning of the text follow each other in one of rows, or
// are the same.
func sequence(text []rune) int {
	longest := 1
	for longest < len(text) && text[longest] == text[0] {
		longest++
	}
	for _, row := range rows {
		for start := range row {
			for _, step := range []int{1, -1} {
				n := 0
				for at := start; n < len(text) && at >= 0 && at < len(row) && row[at] == text[n]; at += step {
					n++
				}
				longest = max(longest, n)
			}
		}
	}
	return longest
}
