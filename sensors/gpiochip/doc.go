// Package gpiochip asks the kernel for digital lines: wet probes, a lid switch,
// an emergency stop, a float switch as inputs, the coils of valves as outputs.
//
// Source: the kernel's userspace interface for GPIO character devices, version 2
// (docs.kernel.org, userspace-api/gpio/chardev), Linux 5.10 or later. Nothing
// below /sys is used.
//
// What it takes care of, each proved on a real kernel (sensors/kerneltest):
//
//   - A line that cannot be read is an error that wraps the kernel's (ENODEV for
//     a chip that was unplugged), never a low level.
//   - Get on lines that are driven gives what the kernel drives; it does not turn
//     them into inputs, which would let a valve go.
//   - Several lines of one request are read and set in one call, so that fill
//     and vent are never half changed.
//   - Close gives the lines back. What they do then is up to the chip: a valve
//     that must close needs a resistor that closes it.
//   - A line that another program holds is ErrInUse with that program's name.
//   - Nothing here waits: a level is asked for, edges are not waited for. A chip
//     behind a bus that hangs can make the kernel wait all the same, so devices
//     are read on a goroutine of their own.
package gpiochip

import "errors"

// Errors of a request, wrapped in one line that names chip and line.
var (
	ErrInUse     = errors.New("is in use by another program")
	ErrNotThere  = errors.New("is not there")
	ErrNotHere   = errors.New("GPIO lines are known on Linux only")
	ErrClosed    = errors.New("the lines were given back already")
	errAmbiguous = errors.New("names two lines of the chip; give its number")
)

// Bias is what holds an input that nothing drives.
type Bias uint8

// The biases. A chip that has no such resistor refuses PullUp and PullDown.
const (
	AsIs     Bias = iota // whatever the board has set
	PullUp               // to high
	PullDown             // to low
	NoBias               // none: a resistor on the board does it
)

// MaxLines is how many lines one request can hold.
const MaxLines = 64

// Config says which lines are wanted, and how.
type Config struct {
	Lines     []string // each a name, "GPIO17", or its number on the chip, "17"
	Consumer  string   // shown to others who ask who has the line, at most 31 bytes
	Output    bool     // drive them; otherwise they are read
	Initial   uint64   // outputs: their first levels, bit 0 for the first line
	ActiveLow bool     // bit 1 means low
	Bias      Bias     // inputs
}

// Info is a chip as the kernel shows it.
type Info struct {
	Path  string // /dev/gpiochip0
	Name  string // gpiochip0: may be another after the next start
	Label string // of its driver or board, "pinctrl-bcm2835"
	Lines []LineInfo
}

// LineInfo is one line of a chip.
type LineInfo struct {
	Number   int
	Name     string // empty where the board gives none
	Used     bool
	Consumer string // who uses it, where Used
	Output   bool
}
