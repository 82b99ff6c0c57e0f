package setup

import (
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"
)

var day = time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC)

func measured(b Bench) Measured {
	return Measured{Settings: b.Settings(),
		Blanks:    []MeasuredBlank{{At: day, ValidUntil: day.Add(ValidFor), MLPerHPerBar: 0.04, SDMLPerHPerBar: 0.01, LowC: 17, HighC: 18, Settings: b.Settings()}},
		Stiffness: &MeasuredStiffness{At: day, ValidUntil: day.Add(ValidFor), How: "cup", MLPerBar: 2.2, SDMLPerBar: 0.1, GasML: 131, SDGasML: 4, Points: 7}}
}

func TestWhatWasMeasuredOfABenchIsUsedWhileItIsValidAndStandsOnTheSheet(t *testing.T) {
	bench, err := ParseBench("bench.toml", []byte(handSerial(t)))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		what       string
		edit       func(*Bench, *Measured)
		after      time.Duration
		waterC     float64
		blank      float64
		stiff, gas float64
		warns      string
	}{
		{"valid", func(*Bench, *Measured) {}, time.Hour, 17.5, 0.04, 2.2, 131, ""},
		{"without a thermometer", func(*Bench, *Measured) {}, time.Hour, math.NaN(), 0.04, 2.2, 131, ""},
		{"a month later", func(*Bench, *Measured) {}, ValidFor + time.Hour, 17.5, 0.02, 1.8, 120, "out of date since 2026-04-13"},
		{"much colder water", func(*Bench, *Measured) {}, time.Hour, 8, 0.02, 2.2, 131, "more than 5 K away"},
		{"another chamber", func(b *Bench, _ *Measured) { b.ChamberVolumeML = 9000 }, time.Hour, 17.5, 0.02, 1.8, 120, "other settings of the bench"},
		{"a known leak that was not recovered", func(_ *Bench, m *Measured) {
			m.KnownLeak = &MeasuredKnownLeak{At: day, MLPerH: 5, Text: "off by 2 ml/h"}
		}, time.Hour, 17.5, 0.04, 2.2, 131, "not recovered on 2026-03-14: off by 2 ml/h"},
	} {
		b, m := bench, measured(bench)
		c.edit(&b, &m)
		warnings := strings.Join(m.Apply(&b, day.Add(c.after), c.waterC), "; ")
		if b.BlankLeakMLPerHPerBar != c.blank || b.StiffnessMLPerBar != c.stiff || b.GasCushionML != c.gas || !strings.Contains(warnings, c.warns) || (warnings == "") != (c.warns == "") {
			t.Errorf("%s: blank %v, stiffness %v, gas %v; %q", c.what, b.BlankLeakMLPerHPerBar, b.StiffnessMLPerBar, b.GasCushionML, warnings)
		}
		if (b.Measured == nil) != (c.blank == 0.02 && c.stiff == 1.8) {
			t.Errorf("%s: the sheet holds %+v", c.what, b.Measured)
		}
		data, err := EncodeRun(Run{Format: 1, Bench: b})
		if err != nil {
			t.Fatal(err)
		}
		back, warned, err := ParseRun("run.toml", data)
		if err != nil || len(warned) > 0 || !reflect.DeepEqual(back.Bench, b) {
			t.Errorf("%s comes back as %+v, %v, %v", c.what, back.Bench.Measured, warned, err)
		}
	}
}

func TestTheFileOfWhatWasMeasuredIsReadAndAWrongOneIsNot(t *testing.T) {
	bench, _ := ParseBench("bench.toml", []byte(handSerial(t)))
	file := filepath.Join(t.TempDir(), "bench.toml")
	if m, err := LoadMeasured(file); err != nil || len(m.Blanks) > 0 {
		t.Errorf("a bench that was never measured: %+v, %v", m, err)
	}
	want := measured(bench)
	data, err := want.Encode()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(MeasuredFile(file), data, 0o666); err != nil {
		t.Fatal(err)
	}
	if got, err := LoadMeasured(file); err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("comes back as %+v, %v", got, err)
	}
	if err := os.WriteFile(MeasuredFile(file), []byte("[stiffnes]\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := LoadMeasured(file); err == nil || !strings.Contains(err.Error(), "bench.measured.toml:1:") {
		t.Errorf("%v", err)
	}
	if _, err := ParseBench("bench.toml", []byte(handSerial(t)+"\n[measured]\n")); err == nil || !strings.Contains(err.Error(), "stands in bench.measured.toml") {
		t.Errorf("%v", err)
	}
}
