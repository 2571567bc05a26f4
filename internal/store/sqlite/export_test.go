package sqlite

// Head is the file of the end of the ledger, for its benchmark.
type Head struct{ e engine }

// NewHead returns that of a folder.
func NewHead(f Folder) *Head { return &Head{engine{head: head{folder: f}}} }

// Keep keeps a line.
func (h *Head) Keep(line string) error { return h.e.PutHead(line) }

// Close closes the file.
func (h *Head) Close() error { return h.e.head.close() }
