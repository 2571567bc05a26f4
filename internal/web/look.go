package web

import (
	"html/template"
	"io/fs"

	"rinsate/internal/present/chart"
	"rinsate/internal/present/words"
)

// appended goes behind what files of these names hold: pictures stand in the pages.
var appended = map[string]string{"app.css": chart.Stylesheet()}

// functions are what pages may call beside what every page may; they decide nothing. termAs shows another
// form of the word, such as the plural.
func functions(t words.Terms) template.FuncMap {
	termAs := func(word, shown string) (template.HTML, error) { return termAs(t, word, shown) }
	return template.FuncMap{
		"term": func(word string) (template.HTML, error) { return termAs(word, word) }, "termAs": termAs,
		"role": t.Role, "kind": t.Kind,
	}
}

// part is a folder of the files that are part of the program.
func part(files fs.FS, folder string) fs.FS {
	sub, err := fs.Sub(files, folder)
	if err != nil {
		panic(err) // the name is a constant
	}
	return sub
}

// marked is a mark that a line may lack.
func marked(t words.Terms, k words.Key) *words.Mark {
	m := t.Mark(k)
	return &m
}
