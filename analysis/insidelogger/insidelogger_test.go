package insidelogger

import (
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"proofpot/rig/record"
)

// run is a chamber that goes up in three ramps and is vented, ten readings a
// second, from second 1000 of the record on.
func chamberRun() (chamber []Sample, events []float64, pressure func(t float64) float64) {
	knots := []struct{ t, pa float64 }{{0, 1e5}, {200, 1e5}, {290, 2.5e5}, {1100, 2.5e5}, {1150, 3.3e5}, {2300, 3.3e5}, {2400, 5e5}, {4000, 5e5}, {4120, 1e5}, {4500, 1e5}}
	pressure = func(t float64) float64 {
		for i := 1; i < len(knots); i++ {
			if a, b := knots[i-1], knots[i]; t < b.t {
				return a.pa + (b.pa-a.pa)*max(t-a.t, 0)/(b.t-a.t)
			}
		}
		return 1e5
	}
	for i := range 45000 {
		t := float64(i) / 10
		chamber = append(chamber, Sample{1000 + t, pressure(t)})
	}
	return chamber, []float64{1200, 2100, 3300, 5000}, pressure
}

// logged is what a logger inside keeps: a hundredth of the chamber's pressure, the
// drift of its temperature, noise, every 2 s.
func logged(pressure func(float64) float64, offset, drift, share float64, seed uint64) (inside []Sample) {
	random := rand.New(rand.NewPCG(seed, 1))
	for t := 2.0; t < 4490; t += 2 {
		v := 98000 + share*(pressure(t)-1e5) + 300*(1-math.Exp(-t/3000)) + 8*random.NormFloat64()
		// record = logger + offset + drift x (logger - its time at second 3250 of the record)
		l := (1000 + t - offset + drift*(3250-offset)) / (1 + drift)
		inside = append(inside, Sample{l, v})
	}
	return inside
}

func TestTheClockOfALoggerIsFoundWithinItsUncertainty(t *testing.T) {
	chamber, events, pressure := chamberRun()
	for _, c := range []struct {
		name          string
		offset, drift float64
		share         float64
		relative      bool
	}{
		{"a clock one time zone and a bit off", 3637.4, 60e-6, 0.01, false},
		{"a clock that is behind", -254.85, -90e-6, 0.01, false},
		{"a clock that counts from its start", 987.65, 0, 0.02, true},
	} {
		var off, slow float64
		const many = 20
		for seed := range uint64(many) {
			fit, err := Align(logged(pressure, c.offset, c.drift, c.share, seed), chamber, events, c.relative)
			if err != nil {
				t.Fatalf("%s: %v", c.name, err)
			}
			mid := 3250 - c.offset // of the logger's clock
			wrong := fit.At(mid) - (mid + c.offset)
			if sd := fit.SD(mid); math.Abs(wrong) > 4*sd || sd > 0.5 {
				t.Errorf("%s, %d: %.3f s wrong, uncertainty %.3f", c.name, seed, wrong, sd)
			}
			if fit.Events != 4 {
				t.Errorf("%s: %d events, %v", c.name, fit.Events, fit.Poor)
			}
			off += math.Pow(wrong/fit.SD(mid), 2)
			slow += math.Pow((fit.Drift-c.drift)/fit.DriftSD, 2)
		}
		// The stated uncertainty is neither far too small nor far too large.
		if r := math.Sqrt(off / many); r > 1.7 {
			t.Errorf("%s: the offset is wrong by %.2f of its uncertainty", c.name, r)
		}
		if r := math.Sqrt(slow / many); r > 2 {
			t.Errorf("%s: the drift is wrong by %.2f of its uncertainty", c.name, r)
		}
	}
}

func TestALoggerThatShowsNothingIsRefused(t *testing.T) {
	chamber, events, pressure := chamberRun()
	if fit, err := Align(logged(pressure, 100, 0, 0, 1), chamber, events, false); !errors.Is(err, ErrNoEvent) {
		t.Errorf("a stiff housing: %+v %v", fit, err)
	}
	if _, err := Align(nil, chamber, events, false); !errors.Is(err, ErrNoEvent) {
		t.Error(err)
	}
}

func TestEventsThatAreAlikeAreRefused(t *testing.T) {
	cycle := func(t float64) float64 { // up and down every 600 s
		return 1e5 + 2e5*min(max(0, 1.5-math.Abs(math.Mod(t, 600)-300)/100), 1)
	}
	var chamber []Sample
	for i := range 45000 {
		chamber = append(chamber, Sample{1000 + float64(i)/10, cycle(float64(i) / 10)})
	}
	if fit, err := Align(logged(cycle, 0, 0, 0.01, 1), chamber, []float64{1150}, false); err == nil || !strings.Contains(err.Error(), "alike") {
		t.Errorf("cycles: %+v %v", fit, err)
	}
}

func TestTwoTimesThatAPersonKnowsSetTheClock(t *testing.T) {
	fit := Line([]point{Event(100, 1100, 1), Event(50100, 51101, 1)})
	if math.Abs(fit.At(25100)-26100.5) > 0.01 || fit.SD(25100) > 1 || fit.Drift < 5e-6 || fit.Drift > 20e-6 {
		t.Errorf("%+v", fit)
	}
	one := Line([]point{Event(100, 1100, 2)})
	if one.Offset != 1000 || one.SD(100) != 2 || one.SD(100+86400) < 4 {
		t.Errorf("one event: %+v", one)
	}
}

func TestALoggersFileIsRead(t *testing.T) {
	for name, text := range map[string]string{
		"commas":     "# logger 4\ntime,pressure_hPa,t_c,battery\n2026-07-01 12:00:00,980.5,21.5,3.1\n2026-07-01 12:00:02,,21.6,3.1\n",
		"semicolons": "\ufeffTime;Pressure_hPa;Temperature_C\n2026-07-01T12:00:00Z;980,5;21,5\n2026-07-01T12:00:02Z;nan;21,6\n",
	} {
		rows, err := ReadCSV("x.csv", strings.NewReader(text))
		if err != nil || len(rows) != 2 || rows[0].PressurePa != 98050 || rows[1].TemperatureC != 21.6 || !math.IsNaN(rows[1].PressurePa) ||
			rows[0].T != 1782907200 || !math.IsNaN(rows[0].RHPct) || Relative(rows) {
			t.Errorf("%s: %+v %v", name, rows, err)
		}
	}
	for text, want := range map[string]string{
		"":                             "x.csv: no header line",
		"time,volts\n1,2\n":            "x.csv: the header has time, volts",
		"time,p_pa\n1,1e5\n1,1e5\n":    "x.csv:3: time does not go forward",
		"time,p_pa\n1,1e5\n2,x\n":      `x.csv:3: p_pa is "x", no number`,
		"time,p_pa\n1,1e5\nnoon,1e5\n": `x.csv:3: "noon" is no time`,
		"time,p_pa\n1,1e5\n":           "x.csv: 1 rows",
		"time,p_pa\n1,-5\n2,1e5\n":     "x.csv:2: p_pa is -5 Pa",
		"time,p_pa,p_hpa\n1,1e5,1\n":   "x.csv: columns p_pa and p_hpa measure the same",
		"time,p_pa\n1,1e5,3\n":         "x.csv: ",
	} {
		if _, err := ReadCSV("x.csv", strings.NewReader(text)); err == nil || !strings.HasPrefix(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
}

func FuzzReadCSV(f *testing.F) {
	f.Add("time,pressure_hpa,t_c\n2026-07-01 12:00:00,980.5,21.5\n2,1,3\n")
	f.Add("time;rh\n1;5,5\n2;6\n")
	f.Fuzz(func(t *testing.T, text string) {
		rows, err := ReadCSV("x", strings.NewReader(text))
		for i := range rows {
			if err == nil && i > 0 && !(rows[i].T > rows[i-1].T) {
				t.Fatal("time does not go forward")
			}
		}
	})
}

func TestWhatIsWrittenIsLinesOfARecord(t *testing.T) {
	nan := math.NaN()
	rows := []Row{{0, 98000, 21, nan}, {2, nan, nan, nan}, {4, 98001, nan, 45.5}, {1e6, 1, 1, 1}}
	text, n := Lines(rows, Run{StartNS: 1e18, EndNS: 1e18 + 10e9}, Fit{Offset: 1e9, Mid: 0, Events: 4}, "can", "a \"can\".csv", []byte("x"))
	if n != 2 {
		t.Errorf("%d lines:\n%s", n, text)
	}
	r := record.NewReader(strings.NewReader(string(text)))
	var l record.Line
	var got []string
	for {
		err := r.Next(&l)
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, fmt.Sprint(l.Measurement, l.Sensor, l.PressurePa, l.TimeNS))
	}
	if fmt.Sprint(got) != "[noteNaN 1000000000000000000 unitcan98000 1000000000000000000 unitcan98001 1000000004000000000]" {
		t.Errorf("%v\n%s", got, text)
	}
	if in := r.Integrity(); !in.Intact {
		t.Errorf("%+v", in)
	}
}
