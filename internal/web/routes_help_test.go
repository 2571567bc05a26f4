package web

import (
	"net/http"

	"rinsate/internal/domain/access"
)

// helpMayOpen is about help; see mayOpen. It is open to everybody.
var helpMayOpen = map[string]string{
	"GET /help":          "*",
	"GET /help/cautions": "*",
	"GET /help/glossary": "*",
	"GET /help/{topic}":  "*",
}

// helpExamples are the pages about help; see examples.
func (b *site) helpExamples() []example {
	b.Helper()
	return []example{
		{"help", "/help", "help", http.StatusOK, access.Lead},
		{"help, some", "/help?q=signal", "help", http.StatusOK, access.Analyst},
		{"help, none", "/help?q=no-such-word-here", "help", http.StatusOK, nobody},
		{"help, a task", "/help/sample-a-scope", "help-topic", http.StatusOK, access.Technician},
		{"help, with commands", "/help/prove-a-record", "help-topic", http.StatusOK, access.Auditor},
		{"help, the release check", "/help/read-the-release-check", "help-topic", http.StatusOK, nobody},
		{"help, no such task", "/help/none", "problem", http.StatusNotFound, access.Lead},
		{"cautions", "/help/cautions", "help-cautions", http.StatusOK, access.Lead},
		{"words", "/help/glossary", "help-glossary", http.StatusOK, access.Lead},
		{"words, some", "/help/glossary?q=channel", "help-glossary", http.StatusOK, nobody},
		{"words, none", "/help/glossary?q=no-such-word-here", "help-glossary", http.StatusOK, access.Lead},
	}
}
