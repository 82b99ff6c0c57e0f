package ads1115

import (
	"math"
	"strings"
	"testing"

	"proofpot/sensors"
)

// Rows of the table of codes after TI SBAS444E, table 7-1.
func TestCodesAreVolts(t *testing.T) {
	for _, c := range []struct {
		r    Range
		code int16
		want float64
	}{{V6, 1, 187.5e-6}, {V4, 1, 125e-6}, {V2, -1, -62.5e-6}, {V2, 10922, 0.682625}, {V1, 32767, 1.02396875}, {V1, -32768, -1.024}, {V05, 1, 15.625e-6}, {V025, 32767, 0.2559921875}} {
		if got := c.r.Volts(c.code); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("range %d, code %d: %v V, want %v", c.r, c.code, got, c.want)
		}
	}
}

// Rows of the table of scalings: (x − 4)/16 and (x − 0.5)/4 of the span; limits
// after NAMUR NE 43, from memory.
func TestALoopKeepsToTheLimitsOfNE43(t *testing.T) {
	in := Input{Kind: Loop, ShuntOhm: 100, High: 100}
	for mA, want := range map[float64]float64{4: 0, 8: 25, 12: 50, 16: 75, 20: 100, 3.9: -0.625} {
		if got := in.result(mA/10, 0, Supply{}); got.Kind != sensors.OK || math.Abs(got.Value-want) > 1e-6 {
			t.Errorf("%g mA: %+v, want %g", mA, got, want)
		}
	}
	for mA, want := range map[float64]sensors.Status{0: sensors.Disconnected, 3.5: sensors.Disconnected, 3.7: sensors.OutOfRange, 20.6: sensors.OutOfRange, 21.5: sensors.Disconnected} {
		if got := in.result(mA/10, 0, Supply{}); got.Kind != want || !math.IsNaN(got.Value) {
			t.Errorf("%g mA: %+v, want %v", mA, got, want)
		}
	}
}

func TestARatiometricTransducerGivesShareOfItsSpan(t *testing.T) {
	in := Input{Kind: Ratiometric, High: 60}
	for v, want := range map[float64]float64{0.5: 0, 1.5: 15, 2.5: 30, 4.5: 60} {
		if got := in.result(v, 5, five); got.Kind != sensors.OK || math.Abs(got.Value-want) > 1e-6 {
			t.Errorf("%g V: %+v, want %g", v, got, want)
		}
	}
	for _, v := range []float64{0, 0.2, 4.8} {
		if got := in.result(v, 5, five); got.Kind != sensors.OutOfRange {
			t.Errorf("%g V: %+v", v, got)
		}
	}
}

// Rows of the table of 10 kΩ thermistors, beta 3435 and 3950.
func TestAThermistorIsRead(t *testing.T) {
	for _, c := range []struct{ ohm, beta, want float64 }{{32650, 3435, -2.76924}, {19900, 3950, 10.27842}, {10000, 3435, 25}, {5325, 3950, 39.89008}} {
		in := Input{Kind: Thermistor, SeriesOhm: 10e3, R25Ohm: 10e3, BetaK: c.beta}
		if got := in.result(5*c.ohm/(c.ohm+10e3), 5, five); got.Kind != sensors.OK || math.Abs(got.Value-c.want) > 1e-4 {
			t.Errorf("%g ohm: %+v, want %g °C", c.ohm, got, c.want)
		}
	}
	in := Input{Kind: Thermistor, SeriesOhm: 10e3, R25Ohm: 10e3, BetaK: 3435}
	for _, v := range []float64{0, 4.99, 5} {
		if got := in.result(v, 5, five); got.Kind != sensors.Disconnected {
			t.Errorf("%g V: %+v", v, got)
		}
	}
}

func TestAnOpenWireOfAWetProbeIsNeverDry(t *testing.T) {
	in := Input{Kind: WetProbe, SeriesOhm: 100e3, EndOhm: 100e3}
	at := func(ohm float64) float64 { return 5 * ohm / (ohm + 100e3) }
	for ohm, want := range map[float64]float64{100e3: 0, 95e3: 0, 110e3: 0, 60e3: 1, 5e3: 1, 0: 1} {
		if got := in.result(at(ohm), 5, five); got.Kind != sensors.OK || got.Value != want {
			t.Errorf("%g ohm: %+v, want %g", ohm, got, want)
		}
	}
	for _, ohm := range []float64{130e3, 1e6, 1e12} {
		if got := in.result(at(ohm), 5, five); got.Kind != sensors.Disconnected {
			t.Errorf("%g ohm: %+v", ohm, got)
		}
	}
}

func TestAnInputThatCannotBeReadIsRefused(t *testing.T) {
	for want, in := range map[string]Input{
		"channels are":     {Channel: 4, High: 1},
		"above low":        {},
		"its shunt":        {Kind: Loop, High: 1},
		"21 mA make":       {Kind: Loop, High: 1, ShuntOhm: 250, Range: V4},
		"looks dry":        {Kind: WetProbe, SeriesOhm: 1e5},
		"supply's channel": {Channel: 3, High: 1},
	} {
		if _, err := New(nil, 0x48, five, []Input{in}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", in, err, want)
		}
	}
	if _, err := New(nil, 0x40, five, inputs); err == nil {
		t.Error("a wrong address was taken")
	}
}
