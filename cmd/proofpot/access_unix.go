//go:build unix

package main

import "golang.org/x/sys/unix"

// mayOpen tells whether this user may read and write a file (access(2)).
func mayOpen(path string) bool { return unix.Access(path, unix.R_OK|unix.W_OK) == nil }
