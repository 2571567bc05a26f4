// Command sentences writes down what the program can say to a person, for reading:
//
//	go run ./scripts/sentences > docs/sentences.txt
//
// It collects the texts of the pages, the help topics, the words in the pages' scripts and whatever text in the
// Go code reads like words. A test compares the file with the code and refuses the words that are not the
// trade's.
package main

import (
	"bufio"
	"fmt"
	"io"
	"os"
)

func main() {
	w := bufio.NewWriter(os.Stdout)
	err := write(w, ".")
	if err == nil {
		err = w.Flush()
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "sentences:", err)
		os.Exit(1)
	}
}

// write writes the sentences of the module in a folder, by the files that hold them.
func write(to io.Writer, root string) error {
	said, err := collect(root)
	if err != nil {
		return err
	}
	fmt.Fprintln(to, "What the program can say, by the file that says it. Written by: go generate ./scripts/sentences")
	fmt.Fprintln(to, "% stands before what is filled in, … for what a page fills in.")
	file := ""
	for _, s := range said {
		if s.file != file {
			file = s.file
			fmt.Fprintf(to, "\n%s\n", file)
		}
		fmt.Fprintf(to, "  %s\n", s.text)
	}
	return nil
}
