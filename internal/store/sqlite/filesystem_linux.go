package sqlite

import (
	"errors"
	"fmt"
	"os"

	"golang.org/x/sys/unix"

	"rinsate/internal/base/fault"
)

// networkFileSystems are those on which SQLite's locks or its shared memory are known to fail.
var networkFileSystems = map[int64]string{
	0x6969:     "NFS",
	0xff534d42: "CIFS",
	0xfe534d42: "SMB2",
	0x517b:     "SMB",
	0x01021997: "9p",
	0x65735546: "FUSE",
	0x6a656a63: "virtiofs",
}

// checkFileSystem refuses a data folder on a network file system, where a ledger would sooner or
// later be damaged.
func checkFileSystem(dir string) error {
	var st unix.Statfs_t
	if err := unix.Statfs(dir, &st); err != nil {
		return fmt.Errorf("look at data folder: %w", err)
	}
	if name, bad := networkFileSystems[int64(st.Type)&0xffffffff]; bad { //nolint:unconvert // the field's type differs between architectures
		return &fault.Error{
			Code:    fault.Invalid,
			Message: fmt.Sprintf("%s is on a %s file system, which cannot keep a ledger safe", dir, name),
			Hint:    "put the data folder on a local disk",
		}
	}
	return nil
}

// syncFolder makes the names in a folder durable.
func syncFolder(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// FreeSpace returns the bytes that are free for the folder's owner.
func FreeSpace(dir string) (uint64, error) {
	var st unix.Statfs_t
	if err := unix.Statfs(dir, &st); err != nil {
		return 0, err
	}
	return st.Bavail * uint64(st.Bsize), nil //nolint:gosec // a block size is never negative
}
