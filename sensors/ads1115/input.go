package ads1115

import (
	"fmt"
	"math"

	"proofpot/sensors"
	"proofpot/sensors/poll"
)

// Kind is what hangs at an input.
type Kind uint8

// The kinds.
const (
	Ratiometric Kind = iota // a tenth to nine tenths of its supply
	Loop                    // 4–20 mA over a shunt
	Thermistor              // to ground, below a resistor from the supply
	WetProbe                // as Thermistor, with a resistor across its far end
)

// Supply is the channel on which the supply of the inputs is measured.
type Supply struct {
	Channel   int
	Low, High float64 // V, within which it must lie
	DividedBy float64 // by resistors before the channel; 0: 1
}

func (s Supply) divider() float64 {
	if s.DividedBy == 0 {
		return 1
	}
	return s.DividedBy
}

func (s Supply) check() error {
	if s.Channel < 0 || s.Channel > 3 || !(s.Low > 0 && s.Low < s.High && s.High < 30) || !(s.DividedBy == 0 || s.DividedBy >= 1 && s.DividedBy < 100) {
		return fmt.Errorf("the supply needs a channel, 0 to 3, and the volts between which it must lie")
	}
	return nil
}

// Input is one channel.
type Input struct {
	Channel   int // 0 to 3, against ground
	Range     Range
	Kind      Kind
	Low, High float64    // Ratiometric, Loop: the values at both ends of the signal
	DividedBy float64    // Ratiometric: by resistors before the channel; 0: 1
	ShuntOhm  float64    // Loop
	SeriesOhm float64    // Thermistor, WetProbe: from the supply
	R25Ohm    float64    // Thermistor: at 25 °C
	BetaK     float64    // Thermistor, or Steinhart
	Steinhart [3]float64 // Thermistor: A, B and C of Steinhart and Hart, see celsius; zero: R25Ohm and BetaK
	EndOhm    float64    // WetProbe: across the far end of its line
}

func (in Input) check() error {
	switch {
	case in.Channel < 0 || in.Channel > 3 || int(in.Range) >= len(fullScale) || in.Kind > WetProbe:
		return fmt.Errorf("channel %d, range %d, kind %d: channels are 0 to 3", in.Channel, in.Range, in.Kind)
	case in.Kind <= Loop && !(in.High > in.Low):
		return fmt.Errorf("low %g and high %g: high must be above low", in.Low, in.High)
	case in.Kind == Loop && !(in.ShuntOhm > 0):
		return fmt.Errorf("a loop needs its shunt, in ohm")
	case in.Kind == Loop && 0.021*in.ShuntOhm >= fullScale[in.Range]:
		return fmt.Errorf("21 mA make %.3g V over the shunt, and the range ends at %g V", 0.021*in.ShuntOhm, fullScale[in.Range])
	case in.Kind == Thermistor && in.Steinhart == [3]float64{} && !(in.SeriesOhm > 0 && in.R25Ohm > 0 && in.BetaK > 0):
		return fmt.Errorf("a thermistor needs its resistor, its ohm at 25 °C and its beta; or its resistor and the three numbers of Steinhart and Hart")
	case in.Kind == Thermistor && in.Steinhart != [3]float64{} && !(in.SeriesOhm > 0 && in.R25Ohm == 0 && in.BetaK == 0 && in.Steinhart[0] > 0 && in.Steinhart[1] > 0 && in.Steinhart[2] >= 0):
		return fmt.Errorf("the numbers of Steinhart and Hart need the resistor beside them, are above 0, and take the place of ohm at 25 °C and beta")
	case in.Kind == WetProbe && !(in.SeriesOhm > 0 && in.EndOhm > 0):
		return fmt.Errorf("a wet probe needs its resistor and the one at the end of its line: without that an open wire looks dry")
	}
	return nil
}

// most is the voltage that an input reaches at its supply's highest; 0 for a loop,
// whose shunt is checked.
func (in Input) most(s Supply) float64 {
	switch {
	case in.Kind == Loop:
		return 0
	case in.Kind == Ratiometric:
		return shareHigh * s.High / max(in.DividedBy, 1)
	}
	return openShare * s.High
}

// NAMUR NE 43, from memory: a transmitter that has failed gives 3.6 mA or less,
// or 21 mA or more; what it measures lies within 3.8 to 20.5 mA.
const (
	failedLow, validLow   = 3.6, 3.8
	validHigh, failedHigh = 20.5, 21.0
)

// Signals outside these shares of the supply come from a broken wire or
// transducer (common practice, no source): 2.5 % of the span beyond its ends.
const (
	shareLow, shareHigh = 0.08, 0.92
	openShare           = 0.995 // a divider's wire is open
	shortShare          = 0.005
)

// Bands of a wet probe's resistance against that at the end of its line (common
// practice, no source).
const (
	wetBelow  = 0.8
	openAbove = 1.25
)

// result makes a value of an input's voltage.
func (in Input) result(volts, supplyV float64, s Supply) poll.Result {
	if in.Kind == Loop {
		return in.loop(volts / in.ShuntOhm * 1000)
	}
	if !(supplyV >= s.Low && supplyV <= s.High) {
		return poll.Bad(sensors.SupplyOff, "its supply is %.3f V, want %g to %g V", supplyV, s.Low, s.High)
	}
	share := volts / supplyV
	if in.Kind == Ratiometric {
		if in.DividedBy > 0 {
			share *= in.DividedBy
		}
		if share < shareLow || share > shareHigh {
			return poll.Bad(sensors.OutOfRange, "%.3f of its supply; a transducer gives 0.1 to 0.9: wire or transducer is broken, or it is beyond its range", share)
		}
		return poll.Result{Value: in.Low + (share-0.1)/0.8*(in.High-in.Low)}
	}
	if share > openShare {
		return poll.Bad(sensors.Disconnected, "its wire is open")
	}
	ohm := in.SeriesOhm * share / (1 - share)
	if in.Kind == WetProbe {
		switch {
		case ohm > openAbove*in.EndOhm:
			return poll.Bad(sensors.Disconnected, "%.0f ohm, and the end of its line has %.0f: a wire is broken or has a bad contact", ohm, in.EndOhm)
		case ohm < wetBelow*in.EndOhm:
			return poll.Result{Value: 1} // a short among them: the safe side
		}
		return poll.Result{Value: 0}
	}
	if share < shortShare {
		return poll.Bad(sensors.Disconnected, "its wires are shorted")
	}
	c := in.celsius(ohm)
	if !(c >= thermistorLowC && c <= thermistorHighC) {
		return poll.Bad(sensors.OutOfRange, "%.0f ohm are %.0f °C; a thermistor measures %d to %d °C: its wires or the numbers given for it are wrong", ohm, c, thermistorLowC, thermistorHighC)
	}
	return poll.Result{Value: c}
}

// The range of bead thermistors (common practice, no source).
const thermistorLowC, thermistorHighC = -55, 150

// celsius is the temperature of a thermistor: 1/T = A + B ln R + C (ln R)³
// (Steinhart and Hart, 1968, from memory), or with one number 1/T = 1/298.15 K +
// ln(R/R25)/beta.
func (in Input) celsius(ohm float64) float64 {
	if a := in.Steinhart; a != [3]float64{} {
		ln := math.Log(ohm)
		return 1/(a[0]+a[1]*ln+a[2]*ln*ln*ln) - 273.15
	}
	return 1/(1/298.15+math.Log(ohm/in.R25Ohm)/in.BetaK) - 273.15
}

func (in Input) loop(mA float64) poll.Result {
	switch {
	case mA <= failedLow:
		return poll.Bad(sensors.Disconnected, "%.2f mA: the loop is open, or the transmitter says that it failed (NE 43)", mA)
	case mA >= failedHigh:
		return poll.Bad(sensors.Disconnected, "%.2f mA: the loop is shorted, or the transmitter says that it failed (NE 43)", mA)
	case mA < validLow || mA > validHigh:
		return poll.Bad(sensors.OutOfRange, "%.2f mA lies outside the measuring range, %g to %g mA (NE 43)", mA, validLow, validHigh)
	}
	return poll.Result{Value: in.Low + (mA-4)/16*(in.High-in.Low)}
}
