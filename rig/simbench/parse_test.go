package simbench

import (
	"errors"
	"strings"
	"testing"
	"time"
)

func TestUnitFaultsAreReadAsWritten(t *testing.T) {
	for text, want := range map[string]UnitFault{
		"seep at 24 m, 3 ml/h":                 {Mode: Seep, DepthM: 24, FlowM3: 3 * mlPerH},
		"  Seep  at 24m ,3ml/h":                {Mode: Seep, DepthM: 24, FlowM3: 3 * mlPerH},
		"burst at 18 m":                        {Mode: Burst, DepthM: 18, FlowM3: 900 * mlPerH, DropM3: 1.5 * millilitre},
		"burst at 18 m, 2 l/h":                 {Mode: Burst, DepthM: 18, FlowM3: 2000 * mlPerH, DropM3: 1.5 * millilitre},
		"collapse at 31 m, 6 ml":               {Mode: Collapse, DepthM: 31, DropM3: 6 * millilitre},
		"reseal below 3 m, 8 ml/h":             {Mode: Reseal, DepthM: 3, FlowM3: 8 * mlPerH},
		"damp at 10 m, 20 ul/h":                {Mode: Damp, DepthM: 10, FlowM3: 0.02 * mlPerH},
		"damp at 10 m, 20 µl/h after 1.5 h":    {Mode: Damp, DepthM: 10, FlowM3: 0.02 * mlPerH, After: 90 * time.Minute},
		"seep at 2.4 bar, 3 ml/h after 20 min": {Mode: Seep, OpenPa: 2.4 * bar, FlowM3: 3 * mlPerH, After: 20 * time.Minute},
		"seep at 10 m after 30 s":              {Mode: Seep, DepthM: 10, FlowM3: 3 * mlPerH, After: 30 * time.Second},
	} {
		got, err := ParseUnitFault(text)
		if err != nil {
			t.Errorf("%q: %v", text, err)
			continue
		}
		near(t, text, got.FlowM3, want.FlowM3, 1e-12)
		near(t, text, got.DropM3, want.DropM3, 1e-12)
		got.FlowM3, got.DropM3 = want.FlowM3, want.DropM3
		if got != want {
			t.Errorf("%q: got %+v, want %+v", text, got, want)
		}
	}
}

func TestAWrongFaultSaysWhereAndWhatWouldBeRight(t *testing.T) {
	unit := func(s string) error { _, err := ParseUnitFault(s); return err }
	bench := func(s string) error { _, err := ParseBenchFault(s); return err }
	for _, row := range []struct {
		parse  func(string) error
		text   string
		column int
		found  string
		want   string
	}{
		{unit, "", 1, "", "burst, collapse, damp, reseal or seep"},
		{unit, "drip at 3 m", 1, "drip", "burst, collapse, damp, reseal or seep"},
		{unit, "seep below 3 m", 6, "below", `"at" and a depth`},
		{unit, "reseal at 3 m", 8, "at", `"below" and a depth`},
		{unit, "seep at", 8, "", "a depth, 24 m say"},
		{unit, "seep at deep", 9, "deep", "a depth, 24 m say"},
		{unit, "seep at 24", 11, "", `the unit "m" or "bar"`},
		{unit, "seep at 24 ft", 12, "ft", `the unit "m" or "bar"`},
		{unit, "seep at -24 m", 9, "-24", "a depth"},
		{unit, "seep at 0 m", 9, "0", "a depth above 0"},
		{unit, "seep at 24 m 3 ml/h", 14, "3", `", 3 ml/h"`},
		{unit, "seep at 24 m, fast", 15, "fast", "a flow, 3 ml/h say"},
		{unit, "seep at 24 m, 3", 16, "", `"ml/h"`},
		{unit, "seep at 24 m, 0 ml/h", 15, "0", "a flow above 0"},
		{unit, "collapse at 24 m, 3 ml/h", 21, "ml/h", `"ml" or "l"`},
		{unit, "seep at 24 m, 3 ml/h after", 27, "", "a time, 20 min say"},
		{unit, "seep at 24 m, 3 ml/h after 20 min now", 35, "now", "the end"},
		{unit, "seep at 2.4.1 m", 9, "2.4.1", "a depth"},
		{unit, "damp at 10 m, 20 µg/h", 18, "µg/h", "µl/h"},
		{bench, "", 1, "", "one of: silent, stuck"},
		{bench, "broken p1", 1, "broken", "one of: silent, stuck"},
		{bench, "silent p1 after 3 min", 11, "after", `"at 20 min", "for 5 min", or the end`},
		{bench, "silent p1 at 3", 15, "", `the unit "s" or "min"`},
		{bench, "spikes p1, 30 per min", 19, "min", `"h" after per`},
		{bench, "fill valve leaks", 1, "fill", "fill valve passes"},
		{bench, "vent valve passes, 5 bar", 22, "bar", `"ml/h"`},
		{bench, "cold water, 8 K at 3 min", 17, "at", "or the end"},
		{bench, "silent p1 at 99999999 h", 14, "99999999", "up to 1.667e+04 h"},
		{bench, "drops p1, 120 %", 11, "120", "up to 100 %"},
		{unit, "seep at 12000 m", 9, "12000", "up to 11000 m"},
	} {
		err := row.parse(row.text)
		var p *ParseError
		if !errors.As(err, &p) {
			t.Errorf("%q: %v", row.text, err)
			continue
		}
		if p.Column != row.column || p.Found != row.found || !strings.Contains(p.Want, row.want) {
			t.Errorf("%q: %v; want column %d, found %q, want …%s…", row.text, err, row.column, row.found, row.want)
		}
		if strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: the message is more than a line", row.text)
		}
	}
}

func TestEveryExampleIsUnderstood(t *testing.T) {
	for _, k := range UnitFaultKinds() {
		if f, err := ParseUnitFault(k.Example); err != nil || f.Mode != k.Mode || k.Does == "" {
			t.Errorf("%q: %+v, %v", k.Example, f, err)
		}
	}
	seen := map[string]bool{}
	for i, k := range BenchFaultKinds() {
		f, err := ParseBenchFault(k.Example)
		if err != nil || f.Kind != k.Kind || k.Kind != Fault(i) || k.Does == "" || seen[f.Kind.String()] {
			t.Errorf("%q: %+v, %v", k.Example, f, err)
		}
		seen[f.Kind.String()] = true
		short, err := ParseBenchFault(k.Kind.String())
		if err != nil || short.Kind != k.Kind || k.amount.units != nil && short.Value <= 0 {
			t.Errorf("%q alone: %+v, %v", k.Kind, short, err)
		}
	}
	if len(seen) < 40 {
		t.Errorf("%d kinds of bench faults, want 40", len(seen))
	}
}

// Whatever is written, a parser answers with a fault that makes a bench or with
// an error that points into the text.
func FuzzParse(f *testing.F) {
	for _, k := range unitFaultKinds {
		f.Add(k.Example)
	}
	for _, k := range benchFaultKinds {
		f.Add(k.Example)
	}
	f.Add("seep at 24 m, 3 ml/h after 20 min")
	f.Add("seep at 1e308 m, \xff µl/h")
	f.Add("late p1, 1..2 s at ٣ min")
	f.Fuzz(func(t *testing.T, text string) {
		check := func(err error) {
			var p *ParseError
			if !errors.As(err, &p) || p.Column < 1 || p.Column > len(text)+1 || p.Want == "" || p.Found != "" && !strings.Contains(text, p.Found) {
				t.Fatalf("%q: %#v", text, err)
			}
		}
		c := Default(builtIn(), 1)
		c.GaugePa = lake
		if u, err := ParseUnitFault(text); err != nil {
			check(err)
		} else {
			c.UnitFaults = append(c.UnitFaults, u)
		}
		if b, err := ParseBenchFault(text); err != nil {
			check(err)
		} else {
			b.Sensor = ""
			c.BenchFaults = append(c.BenchFaults, b)
		}
		if len(c.UnitFaults)+len(c.BenchFaults) == 0 {
			return
		}
		b, err := New(c, testStart)
		if err != nil {
			return // a depth without a pressure, a condition that no bench can have
		}
		b.Read(at(time.Second), nil)
	})
}
