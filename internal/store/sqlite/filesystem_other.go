//go:build !linux

package sqlite

import "errors"

// checkFileSystem cannot tell network file systems apart here; the check of the journal mode at
// start is what is left.
func checkFileSystem(string) error { return nil }

// syncFolder has nothing to do: these systems make a name durable with its file, or offer no way to
// ask for it.
func syncFolder(string) error { return nil }

// FreeSpace returns the bytes that are free for the folder's owner.
func FreeSpace(string) (uint64, error) {
	return 0, errors.New("not known on this system")
}
