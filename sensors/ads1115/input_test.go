package ads1115

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"proofpot/sensors"
	"proofpot/sensors/sensortest"
)

const tables = "../../testdata/reference/" // each names its sources

func TestCodesAreVolts(t *testing.T) {
	for _, row := range sensortest.Table(t, tables+"ads1115_code_to_volt.csv", 36) {
		bits, err := strconv.ParseUint(row[0], 2, 3)
		code, err2 := strconv.ParseUint(row[3], 16, 16)
		if err != nil || err2 != nil {
			t.Fatal(row)
		}
		r, err := RangeOf(sensortest.Number(t, row[1]))
		if err != nil || r != Range(bits) {
			t.Errorf("%s V is range %d, want %d: %v", row[1], r, bits, err)
		}
		if got := r.Volts(int16(code)); math.Abs(got-sensortest.Number(t, row[5])) > 1e-9 {
			t.Errorf("range %d, code %s: %v V, want %s", r, row[3], got, row[5])
		}
	}
	if _, err := RangeOf(5); err == nil {
		t.Error("a range of 5 V is taken")
	}
}

func TestTransducersScaleAsTheTableHasIt(t *testing.T) {
	states := map[string]map[string]sensors.Status{
		"mA":           {"valid": sensors.OK, "out of measuring range": sensors.OutOfRange, "fault": sensors.Disconnected},
		"V of 0.5-4.5": {"valid": sensors.OK, "out of range": sensors.OutOfRange},
	}
	for _, row := range sensortest.Table(t, tables+"transducer_scaling.csv", 14) {
		x, span, want := sensortest.Number(t, row[1]), sensortest.Number(t, row[2]), sensortest.Number(t, row[3])
		in, volts := Input{Kind: Ratiometric, High: span}, x
		if row[0] == "mA" {
			in, volts = Input{Kind: Loop, ShuntOhm: 100, High: span}, x/10
		}
		status, known := states[row[0]][row[4]]
		got := in.result(volts, 5, five)
		if !known || got.Kind != status || (status == sensors.OK) != (math.Abs(got.Value-want) <= 1e-6) {
			t.Errorf("%s %s: %+v, want %s, %v", row[1], row[0], got, row[3], status)
		}
	}
}

// Between the limits of the table (NAMUR NE 43, from memory) and at nothing.
func TestALoopKeepsToTheLimitsOfNE43(t *testing.T) {
	in := Input{Kind: Loop, ShuntOhm: 100, High: 100}
	for mA, want := range map[float64]sensors.Status{0: sensors.Disconnected, 3.59: sensors.Disconnected, 3.61: sensors.OutOfRange, 3.79: sensors.OutOfRange, 3.81: sensors.OK, 20.49: sensors.OK, 20.51: sensors.OutOfRange, 20.99: sensors.OutOfRange, 21.01: sensors.Disconnected} {
		if got := in.result(mA/10, 0, Supply{}); got.Kind != want || math.IsNaN(got.Value) == (want == sensors.OK) {
			t.Errorf("%g mA: %+v, want %v", mA, got, want)
		}
	}
}

func TestATransducerThatIsBrokenOrWithoutSupplyHasNoValue(t *testing.T) {
	in := Input{Kind: Ratiometric, High: 60}
	for v, want := range map[float64]sensors.Status{0: sensors.OutOfRange, 0.39: sensors.OutOfRange, 0.41: sensors.OK, 4.59: sensors.OK, 4.61: sensors.OutOfRange, 5: sensors.OutOfRange} {
		if got := in.result(v, 5, five); got.Kind != want || math.IsNaN(got.Value) == (want == sensors.OK) {
			t.Errorf("%g V: %+v, want %v", v, got, want)
		}
	}
	for _, supply := range []float64{0, 4.4, 5.6, math.NaN()} {
		if got := in.result(2.5, supply, five); got.Kind != sensors.SupplyOff {
			t.Errorf("supply %g V: %+v", supply, got)
		}
	}
	halved := Input{Kind: Ratiometric, High: 60, DividedBy: 2}
	if got := halved.result(1.25, 5, five); got.Kind != sensors.OK || math.Abs(got.Value-30) > 1e-9 {
		t.Errorf("halved: %+v", got)
	}
}

func TestAThermistorIsRead(t *testing.T) {
	at := func(ohm float64) float64 { return 5 * ohm / (ohm + 10e3) }
	for _, row := range sensortest.Table(t, tables+"ntc_10k.csv", 8) {
		ohm := sensortest.Number(t, row[0])
		for column, in := range map[int]Input{1: {R25Ohm: 10e3, BetaK: 3435}, 2: {R25Ohm: 10e3, BetaK: 3950}, 3: {Steinhart: [3]float64{1.129148e-3, 2.34125e-4, 8.76741e-8}}} {
			in.Kind, in.SeriesOhm = Thermistor, 10e3
			if err := in.check(); err != nil {
				t.Fatal(err)
			}
			if got := in.result(at(ohm), 5, five); got.Kind != sensors.OK || math.Abs(got.Value-sensortest.Number(t, row[column])) > 1e-4 {
				t.Errorf("%g ohm: %+v, want %s °C", ohm, got, row[column])
			}
		}
	}
	in := Input{Kind: Thermistor, SeriesOhm: 10e3, R25Ohm: 10e3, BetaK: 3435}
	for v, want := range map[float64]sensors.Status{0: sensors.Disconnected, 0.02: sensors.Disconnected, 0.1: sensors.OutOfRange, 4.97: sensors.OutOfRange, 4.99: sensors.Disconnected, 5: sensors.Disconnected} {
		if got := in.result(v, 5, five); got.Kind != want || !math.IsNaN(got.Value) {
			t.Errorf("%g V: %+v, want %v", v, got, want)
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
		"its ohm at 25":    {Kind: Thermistor, SeriesOhm: 1e4, R25Ohm: 1e4},
		"take the place":   {Kind: Thermistor, SeriesOhm: 1e4, R25Ohm: 1e4, Steinhart: [3]float64{1e-3, 2e-4, 0}},
		"reaches 5.06 V":   {High: 1, Range: V4},
		"reaches 5.47 V":   {Kind: WetProbe, SeriesOhm: 1e5, EndOhm: 1e5, Range: V4},
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
