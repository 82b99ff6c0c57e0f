//go:build !linux

package gpiochip

// List gives no chips.
func List() ([]Info, error) { return nil, nil }

// Lines cannot be had here.
type Lines struct{}

// Request gives ErrNotHere.
func Request(string, Config) (*Lines, error) { return nil, ErrNotHere }

// Get gives ErrNotHere.
func (*Lines) Get() (uint64, error) { return 0, ErrNotHere }

// Set gives ErrNotHere.
func (*Lines) Set(_, _ uint64) error { return ErrNotHere }

// Close does nothing.
func (*Lines) Close() error { return nil }
