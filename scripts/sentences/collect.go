package main

import (
	"cmp"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// said is one text and the file, by its path in the module, that holds it.
type said struct{ file, text string }

// readers read the files of a kind.
var readers = map[string]func(name, text string) ([]string, error){".go": fromGo, ".html": fromPage, ".md": fromHelp, ".js": fromScript}

// collect returns what the files of the program say, in the order of their paths and, within a file, as they
// come; each text once a file.
func collect(root string) ([]said, error) {
	var all []said
	for _, folder := range []string{"cmd", "internal"} {
		err := filepath.WalkDir(filepath.Join(root, folder), func(path string, d fs.DirEntry, err error) error {
			if err != nil {
				return err
			}
			if d.IsDir() {
				if d.Name() == "testdata" || strings.HasSuffix(d.Name(), "test") {
					return fs.SkipDir
				}
				return nil
			}
			read := readers[filepath.Ext(path)]
			if read == nil || strings.HasSuffix(path, "_test.go") {
				return nil
			}
			text, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			found, err := read(path, string(text))
			if err != nil {
				return fmt.Errorf("%s: %w", path, err)
			}
			name, err := filepath.Rel(root, path)
			if err != nil {
				return err
			}
			seen := map[string]bool{}
			for _, one := range found {
				if one = oneLine(one); !seen[one] && one != "" {
					seen[one] = true
					all = append(all, said{filepath.ToSlash(name), one})
				}
			}
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	slices.SortStableFunc(all, func(a, b said) int { return cmp.Compare(a.file, b.file) })
	return all, nil
}

// oneLine writes a text in one line.
func oneLine(text string) string { return strings.Join(strings.Fields(text), " ") }

// fromGo returns the texts of a Go file that read like words: not what belongs to a database, a pattern, a tag
// or an import.
func fromGo(name, text string) (found []string, err error) {
	f, err := parser.ParseFile(token.NewFileSet(), name, text, parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.ImportSpec:
			return false
		case *ast.Field:
			n.Tag = nil
		case *ast.CallExpr:
			if patterns(n) {
				return false
			}
		case *ast.BasicLit:
			if n.Kind != token.STRING {
				return true
			}
			one, err := strconv.Unquote(n.Value)
			if err == nil && reads(one) {
				found = append(found, one)
			}
		}
		return true
	})
	return found, nil
}

// patterns says whether a call makes a pattern of its text.
func patterns(call *ast.CallExpr) bool {
	f, ok := call.Fun.(*ast.SelectorExpr)
	if !ok {
		return false
	}
	x, ok := f.X.(*ast.Ident)
	return ok && x.Name == "regexp"
}

var (
	statement = regexp.MustCompile(`^\s*(SELECT|INSERT|UPDATE|DELETE|CREATE|PRAGMA|WITH|BEGIN|AND|ON|WHERE|FROM|VACUUM|ORDER BY) `)
	drawing   = regexp.MustCompile(`^\s*<|="|[{};]\s*$|^[a-z-]+: `)
	twoWords  = regexp.MustCompile(`\p{L}{2,}[,:;]? +(%[a-z] +)*\p{L}{2,}`)
	label     = regexp.MustCompile(`^\p{Lu}\p{Ll}{2,}[.?!]?$`)
)

// reads says whether a text is for people: two words beside each other, or one that begins with a capital.
func reads(text string) bool {
	if statement.MatchString(text) || drawing.MatchString(text) && !twoWords.MatchString(text) || strings.HasPrefix(text, "<") {
		return false
	}
	return twoWords.MatchString(text) || label.MatchString(text)
}

var (
	action    = regexp.MustCompile(`(?s)\{\{.*?\}\}`)
	comment   = regexp.MustCompile(`(?s)<!--.*?-->|\{\{/\*.*?\*/\}\}`)
	attribute = regexp.MustCompile(`\s(?:title|alt|placeholder|aria-label|aria-description|label|content|data-[a-z-]*word[a-z-]*)="([^"]*)"`)
	block     = regexp.MustCompile(`(?i)</?(?:p|div|li|ul|ol|dl|dt|dd|h[1-6]|td|th|tr|thead|tbody|table|caption|section|article|nav|main|header|footer|form|` +
		`fieldset|legend|label|button|option|select|summary|details|figure|figcaption|title|br|hr|input|textarea|html|head|body|` +
		`aside|meta|link|script|style|template|output|dialog|menu|pre)\b[^>]*>`)
	element = regexp.MustCompile(`</?[a-zA-Z][^>]*>`)
	literal = regexp.MustCompile(`"([^"]*)"`)
)

// fromPage returns the texts between the elements of a page, what attributes say and the words in its actions.
func fromPage(_, text string) (found []string, err error) {
	text = comment.ReplaceAllString(text, "")
	for _, a := range action.FindAllString(text, -1) {
		for _, m := range literal.FindAllStringSubmatch(a, -1) {
			if reads(m[1]) {
				found = append(found, m[1])
			}
		}
	}
	text = action.ReplaceAllString(text, "…")
	for _, m := range attribute.FindAllStringSubmatch(text, -1) {
		if wordy(m[1]) {
			found = append(found, m[1])
		}
	}
	for _, part := range block.Split(text, -1) {
		if part = oneLine(element.ReplaceAllString(part, "")); wordy(part) {
			found = append(found, part)
		}
	}
	return found, nil
}

// wordy says whether there is a word in a text of a page.
func wordy(text string) bool {
	run := 0
	for _, r := range text {
		if !unicode.IsLetter(r) {
			run = 0
			continue
		}
		if run++; run == 2 {
			return true
		}
	}
	return false
}

// fromHelp returns the paragraphs of a topic.
func fromHelp(_, text string) (found []string, err error) {
	for part := range strings.SplitSeq(action.ReplaceAllString(text, "…"), "\n\n") {
		if wordy(part) {
			found = append(found, part)
		}
	}
	return found, nil
}

var (
	remark = regexp.MustCompile(`(?s:/\*.*?\*/)|(?m:(^|\s)//[^\n]*)`)
	quoted = regexp.MustCompile("\"((?:\\\\.|[^\"\\\\\n])*)\"|`((?:\\\\.|[^`\\\\])*)`")
	filled = regexp.MustCompile(`\$\{[^}]*\}`)
)

// fromScript returns the words among the texts of a script.
func fromScript(_, text string) (found []string, err error) {
	for _, m := range quoted.FindAllStringSubmatch(remark.ReplaceAllString(text, ""), -1) {
		one := filled.ReplaceAllString(m[1]+m[2], "…")
		if reads(one) {
			found = append(found, one)
		}
	}
	return found, nil
}
