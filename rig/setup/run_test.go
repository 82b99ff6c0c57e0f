package setup

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"proofpot/profiles/strict"
)

// runFiles gives the run.toml of every record at hand: those of testdata, and
// those of the shared corpus where it is there.
func runFiles(t *testing.T) []string {
	t.Helper()
	files, err := filepath.Glob("testdata/run-*.toml")
	if err != nil || len(files) != 2 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	shared, err := filepath.Glob("../../../shared/corpus/*/run.toml")
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d records of testdata, %d of the shared corpus", len(files), len(shared))
	return append(files, shared...)
}

func TestRecordsMadeElsewhereAreReadWithoutAWarning(t *testing.T) {
	for _, file := range runFiles(t) {
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		run, warnings, err := ParseRun(file, data)
		if err != nil || len(warnings) > 0 {
			t.Errorf("%v, %q", err, warnings)
			continue
		}
		b, u, p := run.Bench, run.Unit, run.Profile
		if run.Format != 1 || u.ID == "" || !(u.FreeVolumeML > 0) || !(u.SealedPa > 9e4) || !(b.ChamberVolumeML > 0) || !(b.RatedPa > b.RoomPa) ||
			!(b.RoomPa > 9e4) || len(b.Sensors) != 1 || b.Sensors[0].ID != "p1" || !(b.Sensors[0].NoisePa > 0) ||
			(b.Medium == MediumWater) != (b.GasCushionML > 0) || len(p.Stages) == 0 || !(p.Stages[0].HoldS > 0) ||
			p.Water.Model == "" || !(p.Accept.LeakMLPerH > 0) || !(p.ProofFactor >= 1) {
			t.Errorf("%s: something is missing: %+v", file, run)
		}
		again, err := EncodeRun(run)
		if err != nil {
			t.Errorf("%s: %v", file, err)
			continue
		}
		back, warnings, err := ParseRun("again", again)
		if err != nil || len(warnings) > 0 || !reflect.DeepEqual(run, back) {
			t.Errorf("%s: written and read again: %v, %q, %+v", file, err, warnings, back)
		}
	}
}

// The values of one record, read off its file by eye.
func TestARunSheetIsReadRight(t *testing.T) {
	data, err := os.ReadFile("testdata/run-water.toml")
	if err != nil {
		t.Fatal(err)
	}
	run, _, err := ParseRun("run.toml", data)
	if err != nil {
		t.Fatal(err)
	}
	unit := Unit{ID: "HC002", Variant: "trial", OuterVolumeML: 2264, FreeVolumeML: 736, SealedPa: 101774, SealedC: 23.3}
	bench := Bench{ID: "pot-1", Medium: "water", Supply: "gas", ChamberVolumeML: 8390, GasCushionML: 33, StiffnessMLPerBar: 1.65,
		RatedPa: 688025, RoomPa: 101774, BlankLeakMLPerHPerBar: 0.033, BlankLeakSDMLPerHPerBar: 0.012,
		Sensors: []Sensor{{ID: "p1", Measures: "chamber pressure", NoisePa: 113, AccuracyPa: 300}}}
	if run.Unit != unit || !reflect.DeepEqual(run.Bench, bench) {
		t.Errorf("unit %+v, bench %+v", run.Unit, run.Bench)
	}
	p := run.Profile
	if len(p.Stages) != 7 || p.Stages[6].Name != "proof" || p.Stages[6].DepthM != 37.5 || p.Stages[6].SettleS != 180 || p.Stages[6].HoldS != 600 ||
		p.Water.SalinityGKg != 30.5 || p.Accept.MoistureMGPerH != 5 || p.RampMPerMin != 3 {
		t.Errorf("profile %+v", p)
	}
}

func TestWhatARecordSaysBesidesIsAWarningNotAnError(t *testing.T) {
	const text = "format = 1\nlab = 'x'\n[unit]\nid = 'A'\ncolour = 'red'\n[bench]\nroom_pa = nan\n[bench.crane]\nswl = 3\n[[bench.sensor]]\nid='p'\nserial='7'\n"
	run, warnings, err := ParseRun("run.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	if run.Unit.ID != "A" || run.Bench.Sensors[0].ID != "p" || run.Bench.RoomPa != 0 {
		t.Errorf("%+v", run)
	}
	all := strings.Join(warnings, "\n")
	for _, want := range []string{`run.toml:2:1: "lab" is not known`, `run.toml:5:1: "unit.colour"`, `"bench.crane"`, `"bench.sensor.serial"`, `run.toml:7:1: room_pa is not finite`} {
		if !strings.Contains(all, want) {
			t.Errorf("no warning %q in %q", want, all)
		}
	}
	if len(warnings) != 5 {
		t.Errorf("%d warnings: %q", len(warnings), warnings)
	}
	run, warnings, err = ParseRun("run.toml", nil)
	if err != nil || !reflect.DeepEqual(run, Run{}) || len(warnings) != 1 || !strings.Contains(warnings[0], "no format") {
		t.Errorf("an empty sheet: %+v, %q, %v", run, warnings, err)
	}
}

func TestASheetThatCannotBeReadSaysWhere(t *testing.T) {
	for text, want := range map[string]string{
		"format = 2\n":                           "run.toml:1:1: format 2 is not known",
		"format = 1\n[unit]\nid = 3\n":           "run.toml:3:",
		"format = 1\n[unit\n":                    "run.toml:2:",
		"format = 1\n[bench]\nrated_pa = '8'\n":  "run.toml:3:",
		"format = 1\n[bench]\nrated_pa = 8,5\n":  "run.toml:3:",
		"format = 1\nformat = 1\n":               "run.toml:2:",
		"format = 99999999999999999999999999\n":  "run.toml:1:",
		"format = 1\n[[unit]]\nid='a'\n":         "run.toml:",
		"\xff\xfe\x00":                           "run.toml:1:",
		"format = 1\n[unit]\nid = \"KP\n-01\"\n": "run.toml:3:",
	} {
		_, _, err := ParseRun("run.toml", []byte(text))
		if err == nil || !strings.HasPrefix(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
		var at *strict.Error
		if err != nil && !errors.As(err, &at) {
			t.Errorf("%q: %v has no place", text, err)
		}
	}
}

func TestASheetThatWouldNotReadBackIsNotWritten(t *testing.T) {
	good := Run{Format: 1}
	if _, err := EncodeRun(good); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		change func(r *Run)
		want   string
	}{
		{func(r *Run) { r.Format = 0 }, "format is 0"},
		{func(r *Run) { r.Format = 2 }, "format is 2"},
		{func(r *Run) { r.Bench.RoomPa = math.NaN() }, "bench.room_pa is NaN"},
		{func(r *Run) { r.Unit.SealedC = math.Inf(1) }, "unit.sealed_c is +Inf"},
		{func(r *Run) { r.Profile.RampMPerMin = math.Inf(-1) }, "profile.ramp_m_per_min is -Inf"},
		{func(r *Run) { r.Bench.Sensors = []Sensor{{}, {NoisePa: math.NaN()}} }, "bench.sensor[1].noise_pa is NaN"},
		{func(r *Run) { r.Unit.Notes = "\xff" }, "unit.notes is not UTF-8"},
	} {
		run := good
		c.change(&run)
		if data, err := EncodeRun(run); err == nil || data != nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%d bytes, %v, want %s", len(data), err, c.want)
		}
	}
}

// Any sheet that can be written reads back as it was, without a warning.
func TestASheetReadsBackAsItWasWritten(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		run := Run{Format: 1}
		fill(t, "", reflect.ValueOf(&run).Elem())
		run.Format = 1
		data, err := EncodeRun(run)
		if err != nil {
			t.Fatal(err)
		}
		back, warnings, err := ParseRun("run.toml", data)
		if err != nil || len(warnings) > 0 {
			t.Fatalf("%v, %q in\n%s", err, warnings, data)
		}
		if !reflect.DeepEqual(run, back) {
			t.Fatalf("wrote %+v\nread %+v\nfrom\n%s", run, back, data)
		}
	})
}

// fill draws a value for everything below v, whatever its contracts hold.
func fill(t *rapid.T, name string, v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		v.SetString(rapid.String().Draw(t, name))
	case reflect.Float64:
		v.SetFloat(rapid.Float64().Draw(t, name))
	case reflect.Int:
		v.SetInt(rapid.Int64().Draw(t, name))
	case reflect.Bool:
		v.SetBool(rapid.Bool().Draw(t, name))
	case reflect.Struct:
		for i := range v.NumField() {
			if key := v.Type().Field(i).Tag.Get("toml"); key != "" && key != "-" {
				fill(t, v.Type().Field(i).Name, v.Field(i))
			}
		}
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		fill(t, name, v.Elem())
	case reflect.Slice:
		n := rapid.IntRange(1, 3).Draw(t, name)
		v.Set(reflect.MakeSlice(v.Type(), n, n))
		for i := range n {
			fill(t, name, v.Index(i))
		}
	default:
		t.Fatalf("%s is a %s, which this test does not draw", name, v.Kind())
	}
}

func FuzzParseRun(f *testing.F) {
	for _, file := range []string{"testdata/run-water.toml", "testdata/run-gas.toml"} {
		data, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Add([]byte("format=1\n[unit]\nid='\\u0000'\n[bench]\nrated_pa=inf\nx={a=[1,{b=2}]}\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		run, _, err := ParseRun("run.toml", data)
		if err != nil {
			if strings.ContainsAny(err.Error(), "\n") {
				t.Fatalf("more than one line: %q", err)
			}
			return
		}
		if run.Format == 0 {
			run.Format = 1
		}
		if _, err := EncodeRun(run); err != nil {
			t.Fatalf("what was read cannot be written: %v", err)
		}
	})
}
