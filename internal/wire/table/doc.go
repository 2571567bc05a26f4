// Package wire reads and writes the CSV files that pass between this program, other systems and
// spreadsheets: a row of text cells becomes words, whole numbers, decimal numbers and instants, or
// an error with file, line and column.
//
// It never guesses where a guess could change a result: a decimal comma, a grouping dot, a time
// without an offset and a local time that came twice are read only as a profile says. It knows
// nothing of endoscopes, opens no files, and keeps no more than one record and a capped list of
// errors in memory, whatever it is given.
//
// Read first: Open and Table, then Profile. Tokenizer is the layer below, Writer the way out.
//
// # Profiles
//
// A profile is a YAML file for one kind of file from one system. Every key may be left out; an
// unknown one is an error.
//
//	delimiter: semicolon        # auto, comma, semicolon, tab, pipe
//	encoding: windows-1252      # auto, utf-8, utf-16, utf-16le, utf-16be, windows-1252,
//	                            # iso-8859-1, ibm850
//	skip_lines: 2               # physical lines before the header
//	decimal: comma              # point, comma
//	grouping: none              # none, point, comma, apostrophe, space
//	time:
//	  zone: Europe/Berlin       # of times without an offset
//	  format: [DD.MM.YYYY HH:mm, rfc3339]
//	  ambiguous: first          # or second; without it a time that came twice is an error
//	columns:                    # our field: their header
//	  scope: Gerätenummer
//	values:                     # our field: their text: our word
//	  passed: {ja: yes, nein: no, "n/a": ""}
//	constant:                   # our field: the value that the file leaves unsaid
//	  facility: north
//
// A number written 1.234 is 1234 under decimal: comma, since that is what a decimal comma means;
// where such a file never groups thousands, grouping: none makes 1.234 an error. Clock describes
// the notation of times.
//
// # Promises
//
// A file decodes the same however its bytes arrive. Cells are trimmed. A cell of an optional column
// may be empty and then reads as zero, which Has tells from a zero that was written. Errors name
// the header as it stands in the file and the physical line.
package table
