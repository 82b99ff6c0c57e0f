//go:build !linux && !darwin && !windows

package main

import "errors"

// freeBytes is not known here.
func freeBytes(string) (uint64, error) { return 0, errors.New("not known on this system") }
