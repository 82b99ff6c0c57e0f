package gpiochip

import (
	"errors"
	"runtime"
	"strings"
	"testing"
)

// What a real kernel does is proved in sensors/kerneltest.

func TestAChipThatIsNotThereIsNamed(t *testing.T) {
	want := ErrNotThere
	if runtime.GOOS != "linux" {
		want = ErrNotHere
	}
	for _, chip := range []string{"no-such-chip", "/dev/gpiochip-none"} {
		_, err := Request(chip, Config{Lines: []string{"0"}})
		if !errors.Is(err, want) || !strings.Contains(err.Error(), chip) && want == ErrNotThere {
			t.Errorf("%s: %v", chip, err)
		}
	}
}

func TestARequestHoldsOneTo64Lines(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("no lines here")
	}
	for _, n := range []int{0, MaxLines + 1} {
		if _, err := Request("x", Config{Lines: make([]string, n)}); err == nil || errors.Is(err, ErrNotThere) {
			t.Errorf("%d lines: %v", n, err)
		}
	}
}
