package policy

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

// Fault is what is wrong in the text of a rule set, with the line where it is, counted from 1; 0 when no
// line can be named.
type Fault struct {
	Line    int    `json:"line"`
	Message string `json:"message"`
}

// Faults lists what keeps a text from being a rule set, with lines; none when Parse takes it.
func Faults(text []byte) []Fault {
	_, err := Parse("", text)
	if err == nil {
		return nil
	}
	if wrong, ok := errors.AsType[*yaml.TypeError](err); ok {
		var faults []Fault
		for _, message := range wrong.Errors {
			faults = append(faults, lined(message))
		}
		return faults
	}
	top, failed := document(text)
	if failed != nil {
		return []Fault{lined(strings.TrimPrefix(err.Error(), ": "))}
	}
	var faults []Fault
	for message := range strings.SplitSeq(strings.TrimPrefix(err.Error(), ": "), "\n") {
		f := lined(message)
		if f.Line == 0 {
			f.Line = unread(text, top, err)
		}
		if f.Line == 0 {
			f.Line = lineOf(top, f.Message)
		}
		faults = append(faults, f)
	}
	return faults
}

var (
	lineNumber  = regexp.MustCompile(`^(?:yaml: )?(?:unmarshal errors:\s*)?line (\d+): (.*)$`)
	unknownKey  = regexp.MustCompile(`^field (\S+) not found in type \S+$`)
	wrongType   = regexp.MustCompile("^cannot unmarshal !!(\\w+) (?:`(.*)` )?into (\\S+)$")
	definedFrom = regexp.MustCompile(`^mapping key "(.*)" already defined at line (\d+)$`)
)

// lined takes the line out of a message of the parser and says the rest in words for people.
func lined(message string) Fault {
	m := lineNumber.FindStringSubmatch(strings.TrimSpace(message))
	if m == nil {
		return Fault{0, strings.TrimPrefix(strings.TrimSpace(message), "yaml: ")}
	}
	line, err := strconv.Atoi(m[1])
	if err != nil {
		return Fault{0, message}
	}
	text := m[2]
	if k := unknownKey.FindStringSubmatch(text); k != nil {
		text = fmt.Sprintf("the key %q is not known here", k[1])
	}
	if k := definedFrom.FindStringSubmatch(text); k != nil {
		text = fmt.Sprintf("the key %q stands in line %s already", k[1], k[2])
	}
	if k := wrongType.FindStringSubmatch(text); k != nil {
		value := k[2]
		switch k[1] {
		case "seq":
			value = "a list"
		case "map":
			value = "a group of keys"
		default:
			value = strconv.Quote(value)
		}
		text = fmt.Sprintf("%s is not %s", value, kindWords(k[3]))
	}
	return Fault{line, text}
}

// kindWords says in words what a type of the code holds.
func kindWords(typ string) string {
	switch {
	case typ == "int":
		return "a whole number"
	case typ == "bool":
		return "yes or no"
	case strings.HasPrefix(typ, "[]"):
		return "a list"
	case typ == "string" || strings.HasSuffix(typ, "Kind"):
		return "a text"
	}
	return "what belongs here"
}

// unread looks for the line of a value that could not be read as what it should be, which the parser does
// not tell: the one that the message quotes and without which the text is read further; 0 when there is
// none.
func unread(text []byte, top *yaml.Node, failed error) int {
	if errors.As(failed, new(*yaml.TypeError)) || yaml.Unmarshal(text, new(RuleSet)) == nil {
		return 0
	}
	quoted := quotedIn(top, failed.Error())
	for _, n := range quoted[:min(len(quoted), mostTried)] {
		from, to, err := extent(text, n)
		if err != nil {
			continue
		}
		for _, plain := range []string{"1", "1s"} {
			if _, err := Parse("", splice(text, from, to, plain)); err == nil || err.Error() != failed.Error() {
				return n.Line
			}
		}
	}
	return 0
}

// mostTried bounds how many values are tried; each costs reading the text twice.
const mostTried = 20

// quotedIn returns the values of a text that a message quotes.
func quotedIn(top *yaml.Node, message string) (found []*yaml.Node) {
	var visit func(*yaml.Node)
	visit = func(n *yaml.Node) {
		if n.Kind == yaml.ScalarNode && n.Value != "" && strings.Contains(message, strconv.Quote(n.Value)) {
			found = append(found, n)
		}
		for _, c := range n.Content {
			visit(c)
		}
	}
	visit(top)
	return found
}

// lineOf looks for the line that a message of a check is about: that of a value that the message quotes,
// the longest first, or of the rule whose name it says, else that of the part of the rule set that it begins with; 0 for neither.
func lineOf(top *yaml.Node, message string) int {
	best, line := 0, 0
	for _, n := range quotedIn(top, message) {
		if len(n.Value) > best {
			best, line = len(n.Value), n.Line
		}
	}
	if line > 0 {
		return line
	}
	message, _, _ = strings.Cut(message, "; allowed: ") // what would be right is not what it is about
	var visit func(*yaml.Node)
	visit = func(n *yaml.Node) {
		if name := called(n); len(name) > best && mentions(message, name) {
			best, line = len(name), n.Line
		}
		for _, c := range n.Content {
			visit(c)
		}
	}
	visit(top)
	if line > 0 {
		return line
	}
	for _, path := range [][]string{
		{"reprocessing", "unstored"},
		{"reprocessing", "cabinets"},
		{"reprocessing", "disinfectants"},
		{"reprocessing", "steps"},
		{"sampling", "selection"},
		{"sampling", "due"},
		{"sampling", "protocols"},
		{"sampling", "clocks"},
		{"reading"},
		{"meters"},
		{"name"},
		{"sampling"},
		{"reprocessing"},
	} {
		key := path[len(path)-1]
		parent := find(top, path[:len(path)-1])
		if k, _ := member(parent, key); k != nil && mentions(message, key, strings.TrimSuffix(key, "s")) {
			return k.Line
		}
	}
	return 0
}

// mentions says whether one of the words stands in a message, not as a part of a longer word.
func mentions(message string, words ...string) bool {
	for _, w := range words {
		if found, err := regexp.MatchString(`(^|[^\w-])`+regexp.QuoteMeta(w)+`($|[^\w-])`, message); err == nil && found {
			return true
		}
	}
	return false
}
