package setup

import (
	"strings"
	"time"

	"proofpot/sensors"
)

// DriverGPIOLine is the driver of wet probes and switches on a digital line.
const DriverGPIOLine = "gpio-line"

// The words of active and bias.
const (
	ActiveHigh = "high"
	ActiveLow  = "low"

	BiasPullUp   = "pull-up"
	BiasPullDown = "pull-down"
	BiasNone     = "none"  // a resistor of your own
	BiasAsIs     = "as-is" // whatever the board has set
)

const (
	maxDebounceMS = 1000
	maxSwitchS    = 2 // s; the sequencer takes a switch for open that has been silent for 5 s
)

func (s *Sensor) checkGPIOLine(key func(string) string) error {
	q, _ := sensors.QuantityNamed(s.Measures)
	if !q.TwoState() {
		return wrong(key("measures"), "a digital line has two states and cannot measure %s", q)
	}
	if len(s.Fields) > 0 {
		return wrong(key("field"), "a digital line has no fields; leave them out")
	}
	if strings.TrimSpace(s.Chip) == "" {
		return wrong(key("chip"), "no GPIO chip; give its label, name or path: proofpot sensors lists them")
	}
	if strings.TrimSpace(s.Line) == "" {
		return wrong(key("line"), "no line of the chip; give its name, \"GPIO17\", or its number as text, \"17\"")
	}
	if err := checkWord(key("active"), s.Active, []string{ActiveHigh, ActiveLow}); err != nil {
		return err
	}
	if err := checkWord(key("bias"), s.Bias, []string{BiasPullUp, BiasPullDown, BiasNone, BiasAsIs}); err != nil {
		return err
	}
	if !within(s.DebounceMS, 0, maxDebounceMS) {
		return wrong(key("debounce_ms"), "%g must be 0 to %d ms", s.DebounceMS, maxDebounceMS)
	}
	if q == sensors.ProbeWet {
		return nil
	}
	if s.IntervalS > maxSwitchS {
		return wrong(key("interval_s"), "%g: a switch that is silent for long counts as open; it must say its state every %d s at least", s.IntervalS, maxSwitchS)
	}
	// A broken wire must read open or pressed: closed-circuit principle.
	switch {
	case s.Bias == BiasAsIs:
		return wrong(key("bias"), "nothing says what a broken wire of the %s reads; give pull-up, pull-down, or none with a resistor of your own", q)
	case s.Bias == BiasPullUp && s.Active == ActiveLow, s.Bias == BiasPullDown && s.Active == ActiveHigh:
		return wrong(key("active"), "with bias = %q a broken wire of the %s would read as all well; wire a normally closed contact and give active = %q",
			s.Bias, q, map[string]string{BiasPullUp: ActiveHigh, BiasPullDown: ActiveLow}[s.Bias])
	}
	return nil
}

// Debounce is how long a level must stand to count; 0: as the driver has it.
func (s Sensor) Debounce() time.Duration {
	return time.Duration(s.DebounceMS * float64(time.Millisecond))
}
