package setup

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

func blankAt(celsius, k, sd float64) MeasuredBlank {
	return MeasuredBlank{At: day, ValidUntil: day.Add(ValidFor), MLPerHPerBar: k, SDMLPerHPerBar: sd, LowC: celsius - 0.5, HighC: celsius + 0.5}
}

// TestBlanksApartInTemperatureGiveALine against numpy 1.24.2 (numpy.polyfit(t, k, 1,
// w=1/sd, cov="unscaled")): for t = 8, 12, 17, k = 0.030, 0.038, 0.050 and sd = 0.01, 0.01, 0.02.
func TestBlanksApartInTemperatureGiveALine(t *testing.T) {
	f, ok := FitBlanks([]MeasuredBlank{blankAt(8, 0.030, 0.01), blankAt(12, 0.038, 0.01), blankAt(17, 0.050, 0.02), {MLPerHPerBar: 9, SDMLPerHPerBar: 0.01}})
	if !ok || f.N != 3 || f.LowC != 7.5 || f.HighC != 17.5 {
		t.Fatalf("%v, %+v", ok, f)
	}
	for name, c := range map[string]struct{ got, want float64 }{
		"slope": {f.PerK, 0.00216470588235}, "its uncertainty": {f.SDPerK, 0.00230089496654}, "at 0 °C": {f.MLPerHPerBar - f.PerK*f.MeanC, 0.0124470588235},
		"uncertainty at 0 °C": {math.Hypot(f.SD, f.SDPerK*f.MeanC), 0.0256790140914},
	} {
		if math.Abs(c.got-c.want) > 1e-9 {
			t.Errorf("%s: %.12g, want %.12g", name, c.got, c.want)
		}
	}
	if k, sd := f.At(-100); k != 0 || sd < 0.05 {
		t.Errorf("far away: %g ± %g ml/h/bar", k, sd)
	}
}

func TestBlanksThatAreTooFewOrTooCloseGiveNoLine(t *testing.T) {
	for name, blanks := range map[string][]MeasuredBlank{
		"two":       {blankAt(8, 0.03, 0.01), blankAt(17, 0.05, 0.01)},
		"3.9 K":     {blankAt(8, 0.03, 0.01), blankAt(10, 0.03, 0.01), blankAt(11.9, 0.05, 0.01)},
		"no gauges": {{MLPerHPerBar: 1}, {MLPerHPerBar: 1}, {MLPerHPerBar: 1}},
	} {
		if f, ok := FitBlanks(blanks); ok {
			t.Errorf("%s: %+v", name, f)
		}
	}
}

// TestTheLineOfBlanksHoldsTheTruth: of benches whose leak grows by a twentieth a K,
// the intervals at a temperature between and beyond the blanks.
func TestTheLineOfBlanksHoldsTheTruth(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 5))
	in, all := 0, 0
	for range 500 {
		truth := func(c float64) float64 { return 0.08 * (1 + 0.05*(c-12)) }
		var blanks []MeasuredBlank
		for _, c := range []float64{6, 9, 12, 15, 18} {
			blanks = append(blanks, blankAt(c, truth(c)+0.01*r.NormFloat64(), 0.01))
		}
		f, ok := FitBlanks(blanks)
		if !ok {
			t.Fatal("no line")
		}
		for _, c := range []float64{4, 12, 20} {
			all++
			if k, sd := f.At(c); math.Abs(k-truth(c)) <= 2*sd {
				in++
			}
		}
	}
	if share := float64(in) / float64(all); share < 0.93 {
		t.Errorf("%.1f %% of the intervals hold the truth", 100*share)
	}
}

func TestARunUsesTheLineOfItsBenchsBlanksAtItsOwnTemperature(t *testing.T) {
	bench, err := ParseBench("bench.toml", []byte(handSerial(t)))
	if err != nil {
		t.Fatal(err)
	}
	m := Measured{Blanks: []MeasuredBlank{blankAt(8, 0.03, 0.01), blankAt(12, 0.04, 0.01), blankAt(16, 0.05, 0.01)}}
	for _, c := range []struct {
		what   string
		after  time.Duration
		waterC float64
		want   float64
		used   int
		warns  int
	}{
		{"between", time.Hour, 10, 0.035, 3, 0}, {"beyond, within 5 K", time.Hour, 21, 0.0625, 3, 0},
		{"too far", time.Hour, 22, bench.BlankLeakMLPerHPerBar, 0, 1}, {"without a thermometer", time.Hour, math.NaN(), 0.05, 1, 0},
		{"out of date", ValidFor + time.Hour, 10, bench.BlankLeakMLPerHPerBar, 0, 1},
	} {
		b := bench
		warnings := m.Apply(&b, day.Add(c.after), c.waterC)
		used := 0
		if b.Measured != nil {
			used = len(b.Measured.Blanks)
		}
		if math.Abs(b.BlankLeakMLPerHPerBar-c.want) > 1e-9 || used != c.used || len(warnings) != c.warns {
			t.Errorf("%s: %g ml/h/bar by %d blanks, %q", c.what, b.BlankLeakMLPerHPerBar, used, warnings)
		}
	}
}
