//go:build linux || darwin

package main

import (
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"
)

// freeBytes is what is free for this user where a folder lies, or will lie.
func freeBytes(dir string) (uint64, error) {
	for {
		if _, err := os.Stat(dir); err == nil || filepath.Dir(dir) == dir {
			break
		}
		dir = filepath.Dir(dir)
	}
	var s unix.Statfs_t
	if err := unix.Statfs(dir, &s); err != nil {
		return 0, err
	}
	return uint64(s.Bavail) * uint64(s.Bsize), nil
}
