//go:build !unix

package serialport

import "io"

type nothing struct{}

func (nothing) Close() error { return nil }

// hold needs no lock: these systems open a port once.
func hold(string) (io.Closer, error) { return nothing{}, nil }
