package wiring

import (
	"errors"

	"proofpot/rig/setup"
	"proofpot/sensors"
	"proofpot/sensors/gpiochip"
	"proofpot/sensors/gpioline"
)

// consumer is what others see who ask for a line that is ours.
const consumer = "proofpot"

var biases = map[string]gpiochip.Bias{
	setup.BiasAsIs: gpiochip.AsIs, setup.BiasPullUp: gpiochip.PullUp,
	setup.BiasPullDown: gpiochip.PullDown, setup.BiasNone: gpiochip.NoBias,
}

func openGPIOLine(s setup.Sensor, with shared) (driver, error) {
	request := func() (gpioline.Line, error) {
		return gpiochip.Request(s.Chip, gpiochip.Config{Lines: []string{s.Line}, Consumer: consumer, Bias: biases[s.Bias]})
	}
	line, err := request()
	if err != nil {
		return nil, err
	}
	q, _ := sensors.QuantityNamed(s.Measures)
	d, err := gpioline.New(line, gpioline.Options{
		Sensor: s.ID, Quantity: q, ActiveLow: s.Active == setup.ActiveLow, Debounce: s.Debounce(),
		Interval: s.Interval(), Clock: with.clock, Request: request,
	})
	if err != nil {
		return nil, errors.Join(err, line.Close())
	}
	return d, nil
}
