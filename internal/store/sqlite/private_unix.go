//go:build !windows

package sqlite

import "os"

// onlyOwner takes every right on a file or a folder from all but its owner.
func onlyOwner(path string) error {
	info, err := os.Lstat(path)
	if err != nil {
		return err
	}
	if info.Mode().Perm()&0o077 == 0 {
		return nil
	}
	return os.Chmod(path, info.Mode().Perm()&0o700)
}

// forOthers says whether others than the owner have any right on a file or a folder.
func forOthers(path string) (bool, error) {
	info, err := os.Lstat(path)
	if err != nil {
		return false, err
	}
	return info.Mode().Perm()&0o077 != 0, nil
}
