package cli

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/charmbracelet/x/term"
)

// What nobody beside the terminal is to read is never on the command line.

// longestLine bounds what is read for a secret, in bytes; the desk refuses what is far shorter.
const longestLine = 64 << 10

// terminal returns the terminal that is typed at; ok is false where input comes from elsewhere.
func (a *app) terminal() (terminal *os.File, ok bool) {
	terminal, ok = a.In.(*os.File)
	return terminal, ok && term.IsTerminal(terminal.Fd())
}

// unseen reads a line that is typed at a terminal without showing it.
func (a *app) unseen(terminal *os.File, prompt string) (string, error) {
	fmt.Fprint(a.Err, prompt)
	line, err := term.ReadPassword(terminal.Fd())
	fmt.Fprintln(a.Err)
	if err != nil {
		return "", fmt.Errorf("read from the terminal: %w", err)
	}
	return string(line), nil
}

// input is standard input, of which a command may read several things one after the other.
func (a *app) input() io.Reader {
	if a.lines == nil {
		a.lines = bufio.NewReaderSize(a.In, longestLine)
	}
	return a.lines
}

// nextLine reads the next line of standard input, where something has to be.
func (a *app) nextLine(what string) (string, error) {
	a.input()
	read, err := a.lines.ReadSlice('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return "", fmt.Errorf("read the %s from standard input: %w", what, err)
	}
	line := strings.TrimRight(string(read), "\r\n")
	if line == "" {
		return "", usageError{fmt.Errorf("there is no %s on standard input", what)}
	}
	return line, nil
}
