package verify

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"proofpot/profiles"
	"proofpot/rig/record"
	"proofpot/rig/record/signing"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

var start = time.Date(2026, 3, 14, 8, 15, 2, 0, time.UTC)

func demoRun() setup.Run {
	return setup.Run{
		Format: setup.RunFormat,
		Unit:   setup.Unit{ID: "KP-01", FreeVolumeML: 520, SealedPa: 95e3},
		Bench: setup.Bench{ID: "pot-1", Medium: "water", Supply: "gas", ChamberVolumeML: 11000, GasCushionML: 300, RatedPa: 1.1e6, ReliefPa: 1e6, RoomPa: 95e3,
			Sensors: []setup.Sensor{{ID: "p1", Measures: "chamber pressure"}, {ID: "w1", Measures: "probe wet"}}},
		Profile: profiles.Profile{Name: "demo", ProofFactor: 1.25, RampMPerMin: 10,
			Water:  profiles.Water{Model: "fresh", TemperatureC: 10},
			Stages: []profiles.Stage{{Name: "shallow", DepthM: 3, SettleS: 60, HoldS: 120}},
			Accept: profiles.Accept{LeakMLPerH: 0.5}},
	}
}

// demo makes a record of a run of some seconds; change may spoil its sheet, write its lines.
func demo(t *testing.T, seconds int, change func(*setup.Run), write func(*record.Writer)) string {
	t.Helper()
	run := demoRun()
	if change != nil {
		change(&run)
	}
	dir, err := os.MkdirTemp("/dev/shm", "verify")
	if err != nil {
		dir = t.TempDir()
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	folder, file, err := record.Create(dir, start, run)
	if err != nil {
		t.Fatal(err)
	}
	w := record.NewWriter(file, start)
	w.Wait = true
	w.Run(0, "start", "demo")
	w.Stage(0, "ramp", 0, "shallow", 3, 95e3+29420)
	for i := range seconds {
		at := time.Duration(i) * time.Second
		w.Readings([]sensors.Reading{
			{Sensor: "p1", Quantity: sensors.ChamberPressure, Value: 95e3 + 10*float64(i), At: at},
			{Sensor: "w1", Quantity: sensors.ProbeWet, Value: 0, At: at}})
	}
	if write != nil {
		write(w)
	}
	w.Run(time.Duration(seconds)*time.Second, "end", "")
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return folder
}

func benchKey(t *testing.T) (signing.Key, []signing.Public) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "bench.key")
	pub, err := signing.New(file, "")
	if err != nil {
		t.Fatal(err)
	}
	key, err := signing.Load(file, "")
	if err != nil {
		t.Fatal(err)
	}
	return key, []signing.Public{pub}
}

func TestAWholeRecordIsWholeAndSigned(t *testing.T) {
	folder := demo(t, 40, nil, nil)
	key, trusted := benchKey(t)
	if err := Sign(folder, key); err != nil {
		t.Fatal(err)
	}
	rep, err := Check(folder, trusted)
	if err != nil || rep.BadCount != 0 || len(rep.Remarks) != 0 || rep.SignedBy != key.ID() || !rep.Chained {
		t.Fatalf("%+v %v", rep, err)
	}
	if rep, err = Check(folder, nil); err != nil || rep.BadCount != 0 || rep.SignedBy != "" {
		t.Fatalf("%+v %v", rep, err)
	}
	if _, err := record.Compress(folder, true); err != nil {
		t.Fatal(err)
	}
	if rep, err = Check(folder, trusted); err != nil || rep.BadCount != 0 || rep.SignedBy != key.ID() {
		t.Fatalf("compressed: %+v %v", rep, err)
	}
}

// TestAnyAlterationOfASignedRecordIsFound alters, drops, doubles, swaps and
// inserts bytes and lines of the readings and the settings.
func TestAnyAlterationOfASignedRecordIsFound(t *testing.T) {
	folder := demo(t, 60, nil, nil)
	key, trusted := benchKey(t)
	if err := Sign(folder, key); err != nil {
		t.Fatal(err)
	}
	n := 10_000
	if testing.Short() {
		n = 600
	}
	rnd := rand.New(rand.NewPCG(7, 7))
	counts := map[string]int{}
	for range n {
		name := record.ReadingsFile
		switch rnd.IntN(10) {
		case 0:
			name = record.RunFile
		case 1:
			name = record.SumsFile
		}
		file := filepath.Join(folder, name)
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		bad, how := alter(rnd, data)
		if bytes.Equal(bad, data) {
			continue
		}
		put(t, file, bad)
		rep, err := Check(folder, trusted)
		if err == nil && rep.BadCount == 0 {
			t.Fatalf("%s of %s is not found", how, name)
		}
		counts[how]++
		put(t, file, data)
	}
	if rep, err := Check(folder, trusted); err != nil || rep.BadCount != 0 {
		t.Fatalf("the test left the record altered: %+v %v", rep, err)
	}
	t.Logf("%d alterations, all found: %v", n, counts)
}

func put(t *testing.T, file string, data []byte) {
	t.Helper()
	os.Chmod(file, 0o644)
	if err := os.WriteFile(file, data, 0o644); err != nil {
		t.Fatal(err)
	}
}

func alter(rnd *rand.Rand, data []byte) ([]byte, string) {
	i := rnd.IntN(len(data))
	lines := bytes.SplitAfter(data, []byte("\n"))
	lines = lines[:len(lines)-1]
	k, j := rnd.IntN(len(lines)), rnd.IntN(len(lines))
	ls := append([][]byte{}, lines...)
	join := func() []byte { return bytes.Join(ls, nil) }
	switch rnd.IntN(8) {
	case 0:
		b := bytes.Clone(data)
		b[i] ^= byte(1 << rnd.IntN(8))
		return b, "a changed bit"
	case 1:
		b := bytes.Clone(data)
		b[i] = byte(rnd.IntN(256))
		return b, "a changed byte"
	case 2:
		return append(bytes.Clone(data[:i]), data[i+1:]...), "a dropped byte"
	case 3:
		return append(append(bytes.Clone(data[:i]), byte(rnd.IntN(256))), data[i:]...), "an inserted byte"
	case 4:
		ls = append(ls[:k], ls[k+1:]...)
		return join(), "a dropped line"
	case 5:
		ls[k], ls[j] = ls[j], ls[k]
		return join(), "two swapped lines"
	case 6:
		ls = append(ls[:k], append([][]byte{lines[j]}, ls[k:]...)...)
		return join(), "an inserted line"
	}
	return bytes.Clone(data[:i]), "a tail cut off"
}

func TestWhatDoesNotAgreeIsNamed(t *testing.T) {
	for _, c := range []struct {
		want   string
		line   int64
		change func(*setup.Run)
		write  func(*record.Writer)
		remark bool
	}{
		{want: "they are not of one run", line: 2, change: func(r *setup.Run) { r.Profile.Stages[0].Name = "deep" }},
		{want: "goes to 3.00 m, and to 4.00 m", line: 2, change: func(r *setup.Run) { r.Profile.Stages[0].DepthM = 4 }},
		{want: "aims at 64420 Pa", line: 2, change: func(r *setup.Run) {
			r.Profile.Water = profiles.Water{Model: "sea", SalinityGKg: 35, LatitudeDeg: 58}
			r.Unit.SealedPa = 60e3
		}},
		{want: "stage 3, and run.toml has 1", write: func(w *record.Writer) { w.Stage(time.Second, "hold", 3, "deep", 9, 1e5) }},
		{want: "rates it for", write: func(w *record.Writer) {
			for i := range 3 {
				w.Readings([]sensors.Reading{{Sensor: "p1", Quantity: sensors.ChamberPressure, Value: 1.3e6, At: time.Duration(6+i) * time.Second}})
			}
		}},
		{want: "none of the sensors of run.toml", change: func(r *setup.Run) { r.Bench.Sensors = r.Bench.Sensors[:1]; r.Bench.Sensors[0].ID = "p9" }},
		{want: "sensor x1 is not in run.toml", remark: true, write: func(w *record.Writer) {
			w.Readings([]sensors.Reading{{Sensor: "x1", Quantity: sensors.RoomPressure, Value: 95e3, At: 5 * time.Second}})
		}},
	} {
		rep, err := Check(demo(t, 5, c.change, c.write), nil)
		if err != nil {
			t.Fatal(err)
		}
		found := rep.Bad
		if c.remark {
			found = rep.Remarks
		}
		text := fmt.Sprint(found)
		if !strings.Contains(text, c.want) || c.line != 0 && found[0].Line != c.line || c.remark && rep.BadCount > 0 {
			t.Errorf("want %q at line %d, got %s", c.want, c.line, text)
		}
	}
}

func TestMissingBlocksAndClocksThatDisagreeAreNamed(t *testing.T) {
	folder := demo(t, 40, nil, nil)
	file := filepath.Join(folder, record.ReadingsFile)
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	first := bytes.Index(data, []byte("chain "))
	first += bytes.IndexByte(data[first:], '\n') + 1
	second := first + bytes.Index(data[first:], []byte("chain "))
	second += bytes.IndexByte(data[second:], '\n') + 1
	put(t, file, append(bytes.Clone(data[:first]), data[second:]...))
	if rep, err := Check(folder, nil); err != nil || rep.BadCount != 1 {
		t.Fatalf("a whole block is missing: %+v %v", rep, err)
	}
	at := bytes.LastIndex(data, []byte("mono_ns=40"))
	put(t, file, bytes.Replace(data, data[at:at+10], []byte("mono_ns=70"), 2))
	rep, err := Check(folder, nil)
	if err != nil || !strings.Contains(fmt.Sprint(rep.Remarks), "wall clock has gone") {
		t.Fatalf("%+v %v", rep, err)
	}
	put(t, file, data[:bytes.LastIndex(data, []byte("run,event=end"))])
	if rep, err := Check(folder, nil); err != nil || rep.BadCount > 0 || !strings.Contains(fmt.Sprint(rep.Remarks), "no end") {
		t.Fatalf("%+v %v", rep, err)
	}
}

// TestRecordsOfAnotherWriterVerify reads records that were made elsewhere.
func TestRecordsOfAnotherWriterVerify(t *testing.T) {
	folders, _ := filepath.Glob("../../../../shared/corpus/2*")
	for _, folder := range folders {
		rep, err := Check(folder, nil)
		if err != nil || rep.BadCount > 0 {
			t.Errorf("%s: %v %v", filepath.Base(folder), rep.Bad, err)
		}
	}
	t.Logf("%d records of another writer", len(folders))
}

func TestWhatALoggerKeptInsideIsSignedWithTheRest(t *testing.T) {
	folder := demo(t, 60, nil, nil)
	key, trusted := benchKey(t)
	check := func() Report {
		t.Helper()
		rep, err := Check(folder, trusted)
		if err != nil {
			t.Fatal(err)
		}
		return rep
	}
	if err := Sign(folder, key); err != nil {
		t.Fatal(err)
	}
	inside := filepath.Join(folder, record.InsideFile)
	put(t, inside, []byte("unit,sensor=can pressure_pa=98000.0 1773476103000000000\n"))
	if rep := check(); rep.BadCount > 0 || rep.SignedBy == "" || len(rep.Remarks) == 0 || !strings.Contains(rep.Remarks[0].Text, "merged after the record was signed") {
		t.Errorf("merged after signing: %+v", rep)
	}
	if err := Sign(folder, key); err != nil {
		t.Fatal(err)
	}
	if rep := check(); rep.BadCount > 0 || rep.SignedBy == "" || len(rep.Remarks) > 0 {
		t.Errorf("signed again: %+v", rep)
	}
	put(t, inside, []byte("unit,sensor=can pressure_pa=98001.0 1773476103000000000\n"))
	if rep := check(); rep.BadCount != 1 || !strings.Contains(rep.Bad[0].Text, "inside.lp was altered") {
		t.Errorf("altered: %+v", rep)
	}
	if err := os.Remove(inside); err != nil {
		t.Fatal(err)
	}
	if rep := check(); rep.BadCount != 1 || !strings.Contains(rep.Bad[0].Text, "inside.lp cannot be read") {
		t.Errorf("removed: %+v", rep)
	}
}
