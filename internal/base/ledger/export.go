package ledger

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"strconv"

	"golang.org/x/mod/sumdb/tlog"
)

const (
	tileWidth  = 256 // records in a bundle and hashes in a tile (C2SP tlog-tiles)
	tileHeight = 8   // tree levels from one tile level to the next
)

// Export writes a log as static files (C2SP tlog-tiles): entry bundles, hash tiles of every level
// and, last, the signed checkpoint, which one of vkeys must have signed. records yields the bytes
// of every record from 0 on; when they do not give the checkpoint's root, nothing names the files
// written so far a log, since the checkpoint is missing. sink gets paths with forward slashes and
// must not keep data.
func Export(sink func(path string, data []byte) error, signed []byte, vkeys []string, records iter.Seq2[[]byte, error]) error {
	head, err := Open(signed, vkeys)
	if err != nil {
		return err
	}
	var (
		tree   Frontier
		bundle []byte
		hashes []tlog.Hash
		tiles  = tiler{emit: func(t tile, data []byte) error { return sink(t.path(), data) }}
	)
	for record, err := range records {
		if err != nil {
			return fmt.Errorf("read record %d for the export: %w", tree.Size(), err)
		}
		if len(record) > MaxRecord {
			return fmt.Errorf("record %d is %d bytes long, the limit is %d", tree.Size(), len(record), MaxRecord)
		}
		bundle = append(binary.BigEndian.AppendUint16(bundle, uint16(len(record))), record...)
		hashes = tree.grow(hashes[:0], tlog.RecordHash(record))
		if err := tiles.add(hashes); err != nil {
			return err
		}
		if tree.Size() == head.Size || tree.Size()%tileWidth == 0 {
			if err := sink(bundleAt((tree.Size()-1)/tileWidth*tileWidth, tree.Size()).path(), bundle); err != nil {
				return err
			}
			bundle = bundle[:0]
		}
		if tree.Size() == head.Size {
			break
		}
	}
	if tree.Size() != head.Size || tree.Root() != head.Root {
		return fmt.Errorf("the %d records do not give the root of the checkpoint at %d records", tree.Size(), head.Size)
	}
	if err := tiles.finish(); err != nil {
		return err
	}
	return sink("checkpoint", signed)
}

// A tile names one file: width hashes at a tile level, or entries when level is -1.
type tile struct {
	level int
	n     int64
	width int
}

// bundleAt returns the entry bundle that holds the records from first on of a log of size records.
func bundleAt(first, size int64) tile {
	return tile{-1, first / tileWidth, int(min(tileWidth, size-first))}
}

// path is tile/<level>/<n>[.p/<width>]; unlike the path of tlog.Tile it does not name the height.
func (t tile) path() string {
	n := fmt.Sprintf("%03d", t.n%1000)
	for rest := t.n / 1000; rest > 0; rest /= 1000 {
		n = fmt.Sprintf("x%03d/%s", rest%1000, n)
	}
	level := "entries"
	if t.level >= 0 {
		level = strconv.Itoa(t.level)
	}
	path := "tile/" + level + "/" + n
	if t.width < tileWidth {
		path += ".p/" + strconv.Itoa(t.width)
	}
	return path
}

// first returns the first record under hash i of the tile.
func (t tile) first(i int) int64 { return (t.n*tileWidth + int64(i)) << (tileHeight * t.level) }

// A tiler gathers the hashes of a growing tree into tiles and emits each when it is full.
type tiler struct {
	levels []tileInWork
	emit   func(t tile, data []byte) error
}

type tileInWork struct {
	n    int64
	data []byte
}

// add takes the hashes of one record, as Frontier.Append returns them.
func (t *tiler) add(hashes []tlog.Hash) error {
	for level := 0; level*tileHeight < len(hashes); level++ {
		if level == len(t.levels) {
			t.levels = append(t.levels, tileInWork{})
		}
		w := &t.levels[level]
		w.data = append(w.data, hashes[level*tileHeight][:]...)
		if len(w.data) == tileWidth*tlog.HashSize {
			if err := t.emit(tile{level, w.n, tileWidth}, w.data); err != nil {
				return err
			}
			w.n, w.data = w.n+1, w.data[:0]
		}
	}
	return nil
}

// finish emits the partial tiles.
func (t *tiler) finish() error {
	for level, w := range t.levels {
		if len(w.data) == 0 {
			continue
		}
		if err := t.emit(tile{level, w.n, len(w.data) / tlog.HashSize}, w.data); err != nil {
			return err
		}
	}
	return nil
}

// Report tells what VerifyExport looked at. Size and Root are what the checkpoint claims; they are
// true when VerifyExport returned no error.
type Report struct {
	Origin   string
	Site     string
	Size     int64
	Root     tlog.Hash
	Verified int64 // records that were read and found right before any fault
	Texts    int   // free texts beside the log, all of which its records commit to
}

// VerifyExport verifies an exported log and trusts nothing but its bytes and vkeys: the signature,
// each record from its bytes to the root, its canonical form, gap-free numbers, one site, recorded
// times that do not go back unnoticed, every hash tile, and that the log still begins with what
// the older signed checkpoints named. A wrong log gives a *FaultError with the first bad record;
// any other error means that the files could not be read. Free texts beside the log (TextsFile) are compared
// with the commitments of their records; one that is not there was erased or not handed out. Files that the checkpoint does not call
// for are not looked at.
func VerifyExport(fsys fs.FS, vkeys []string, older ...[]byte) (Report, error) {
	signed, err := fs.ReadFile(fsys, "checkpoint")
	if errors.Is(err, fs.ErrNotExist) {
		return Report{}, fault(-1, "the folder holds no file named checkpoint, so it is no export or an unfinished one")
	} else if err != nil {
		return Report{}, fmt.Errorf("read the export's checkpoint: %w", err)
	}
	head, err := Open(signed, vkeys)
	if err != nil {
		return Report{}, fault(-1, "the checkpoint cannot be trusted: %v", err)
	}
	report := Report{Origin: head.Origin, Size: head.Size, Root: head.Root}
	checkpoints := []Checkpoint{head}
	for i, o := range older {
		c, err := Open(o, vkeys)
		if err != nil {
			return report, fault(-1, "older checkpoint %d of %d cannot be trusted: %v", i+1, len(older), err)
		}
		if c.Origin != head.Origin {
			return report, fault(-1, "older checkpoint %d of %d is of log %q, the export of %q", i+1, len(older), c.Origin, head.Origin)
		}
		checkpoints = append(checkpoints, c)
	}
	v := NewVerifier(checkpoints...)
	texts, err := readTexts(fsys, head.Size)
	if err != nil {
		return report, err
	}
	if err = verifyFiles(fsys, v, texts, head.Size); err == nil {
		err = v.Finish(head.Size, head.Root)
	} else if bad, ok := errors.AsType[*FaultError](err); ok {
		v.fault = bad
	}
	report.Site, report.Verified = v.Site(), v.Size()
	for _, lines := range texts {
		report.Texts += len(lines)
	}
	return report, err
}

func verifyFiles(fsys fs.FS, v *Verifier, texts map[int64][]TextLine, size int64) error {
	tiles := tiler{emit: func(t tile, data []byte) error { return compareTile(fsys, t, data) }}
	for first := int64(0); first < size; first += tileWidth {
		if v.fault != nil {
			return v.fault
		}
		t := bundleAt(first, size)
		bundle, err := readTile(fsys, t, first)
		if err != nil {
			return err
		}
		leaves, err := readTile(fsys, tile{0, t.n, t.width}, first)
		if err != nil {
			return err
		}
		for seq := first; seq < first+int64(t.width); seq++ {
			var record []byte
			if record, bundle, err = cutEntry(bundle, seq); err != nil {
				return err
			}
			leaf := leaves[:min(len(leaves), tlog.HashSize)]
			leaves = leaves[len(leaf):]
			if err := v.exported(seq, record, leaf); err != nil {
				return err
			}
			if err := checkTexts(seq, record, texts[seq]); err != nil {
				return err
			}
			if err := tiles.add(v.hashes); err != nil {
				return err
			}
		}
		if len(bundle) > 0 {
			return fault(first+int64(t.width), "%s holds more than its %d records", t.path(), t.width)
		}
	}
	return tiles.finish()
}

// exported verifies the next record of an export against its hash in the lowest tile.
func (v *Verifier) exported(seq int64, record, leaf []byte) error {
	d := digestOf(&v.buf, record)
	v.hashes = v.tree.grow(v.hashes[:0], d.leaf)
	if problem := compareHashes(v.hashes[:1], leaf); problem != "" {
		return v.result(fault(seq, "record %d: %s", seq, problem))
	}
	if _, err := Decode(record); err != nil {
		return v.result(fault(seq, "record %d cannot be read: %v", seq, err))
	}
	return v.result(v.follow(seq, &d))
}

func cutEntry(bundle []byte, seq int64) (record, rest []byte, err error) {
	if len(bundle) >= 2 {
		if n := 2 + int(binary.BigEndian.Uint16(bundle)); n <= len(bundle) {
			return bundle[2:n], bundle[n:], nil
		}
	}
	return nil, nil, fault(seq, "the exported entries end within record %d", seq)
}

// readTile reads a file whose absence makes record seq the first bad one.
func readTile(fsys fs.FS, t tile, seq int64) ([]byte, error) {
	data, err := fs.ReadFile(fsys, t.path())
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fault(seq, "the file %s is missing, which covers the records from %d on", t.path(), seq)
	}
	return data, err
}

func compareTile(fsys fs.FS, t tile, want []byte) error {
	got, err := readTile(fsys, t, t.first(0))
	if err != nil {
		return err
	}
	for i := range t.width {
		end := (i + 1) * tlog.HashSize
		if len(got) < end || string(got[end-tlog.HashSize:end]) != string(want[end-tlog.HashSize:end]) {
			return fault(t.first(i), "hash %d of the file %s does not follow from the records %d to %d", i, t.path(), t.first(i), t.first(i+1)-1)
		}
	}
	if len(got) > len(want) {
		return fault(t.first(t.width), "the file %s is longer than its %d hashes", t.path(), t.width)
	}
	return nil
}
