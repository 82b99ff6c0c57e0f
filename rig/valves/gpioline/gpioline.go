package gpioline

import "proofpot/sensors/gpiochip"

// Lines is a request of one line as an output. gpiochip.Lines is one.
type Lines interface {
	Set(bits, mask uint64) error
	Get() (uint64, error)
	Close() error
}

// Options say how a relay hangs on its line.
type Options struct {
	// OpenWithPower: a coil that has power opens the valve (normally closed).
	OpenWithPower bool
	// ActiveLow: the coil has power while the line is low.
	ActiveLow bool
}

// Output is one valve on one line.
type Output struct {
	lines Lines
	opens uint64 // the line's level that opens the valve
}

// New takes over one line.
func New(lines Lines, o Options) *Output {
	out := &Output{lines: lines}
	if o.OpenWithPower != o.ActiveLow {
		out.opens = 1
	}
	return out
}

const line0 = 1

// Set drives the line.
func (o *Output) Set(open bool) error {
	level := o.opens
	if !open {
		level ^= line0
	}
	return o.lines.Set(level, line0)
}

// Stands reads the line back, which stays an output.
func (o *Output) Stands() (open, known bool, err error) {
	level, err := o.lines.Get()
	if err != nil {
		return false, false, err
	}
	return level&line0 == o.opens, true, nil
}

// Close gives the line back to the kernel.
func (o *Output) Close() error { return o.lines.Close() }

// Open takes a line of a chip as an output whose coil has no power yet. The
// error is one line and says what there is.
func Open(chip, line string, o Options) (*Output, error) {
	c := gpiochip.Config{Lines: []string{line}, Consumer: "proofpot", Output: true}
	if o.ActiveLow {
		c.Initial = line0
	}
	lines, err := gpiochip.Request(chip, c)
	if err != nil {
		return nil, err
	}
	return New(lines, o), nil
}
