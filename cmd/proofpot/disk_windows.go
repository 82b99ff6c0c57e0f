package main

import (
	"os"
	"path/filepath"

	"golang.org/x/sys/windows"
)

// freeBytes is what is free for this user where a folder lies, or will lie.
func freeBytes(dir string) (uint64, error) {
	for {
		if _, err := os.Stat(dir); err == nil || filepath.Dir(dir) == dir {
			break
		}
		dir = filepath.Dir(dir)
	}
	name, err := windows.UTF16PtrFromString(dir)
	if err != nil {
		return 0, err
	}
	var free uint64
	err = windows.GetDiskFreeSpaceEx(name, &free, nil, nil)
	return free, err
}
