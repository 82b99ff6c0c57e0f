package analysis

import (
	"encoding/json"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"testing"

	"proofpot/rig/record"
	"proofpot/rig/setup"
)

// recorded is a record as lines, with its truth where it comes with one.
type recorded struct {
	name    string
	run     setup.Run
	lines   []record.Line
	verdict string // of truth.json; empty where unknown
	gas     bool
	leak    map[int]float64 // ml/h, by stage
}

// recordings reads the records with known truth that lie beside the project, or
// else the few of them that the certificate's tests keep.
func recordings(t testing.TB) []recorded {
	t.Helper()
	dir := "../../shared/corpus"
	if d := os.Getenv("PROOFPOT_CORPUS"); d != "" {
		dir = d
	}
	truths := map[string]struct {
		Verdict string
		Gas     bool `json:"gas_medium"`
		Holds   []struct {
			Stage int
			Leak  float64 `json:"leak_ml_per_h"`
		}
	}{}
	if b, err := os.ReadFile(filepath.Join(dir, "truth.json")); err != nil {
		dir = "certificate/testdata"
	} else if err := json.Unmarshal(b, &truths); err != nil {
		t.Fatal(err)
	}
	folders, err := filepath.Glob(filepath.Join(dir, "*", "readings.lp"))
	if err != nil || len(folders) == 0 {
		t.Fatal("no records", err)
	}
	var list []recorded
	for _, f := range folders {
		r, err := record.Open(filepath.Dir(f))
		if err != nil {
			t.Fatal(err)
		}
		x := recorded{name: filepath.Base(filepath.Dir(f)), run: r.Run, leak: map[int]float64{}}
		for {
			var l record.Line
			if err := r.Next(&l); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatal(err)
			}
			x.lines = append(x.lines, l)
		}
		r.Close()
		truth := truths[x.name]
		x.verdict, x.gas = truth.Verdict, truth.Gas
		for _, h := range truth.Holds {
			x.leak[h.Stage] = h.Leak
		}
		list = append(list, x)
	}
	return list
}

// source gives lines again, as a reader does.
type source struct {
	lines []record.Line
	at    int
}

func (s *source) Next(l *record.Line) error {
	if s.at == len(s.lines) {
		return io.EOF
	}
	*l = s.lines[s.at]
	s.at++
	return nil
}

// liveHolds runs a record through the live estimate and gives what it said last
// in each hold, and whether it said that the unit had failed.
func liveHolds(t testing.TB, x *recorded) (holds []Interval, failed bool) {
	t.Helper()
	l, err := NewLive(x.run)
	if err != nil {
		t.Fatal(err)
	}
	in := false
	leave := func() {
		if in {
			q, ok := l.Leak()
			if !ok {
				q = Interval{math.NaN(), math.NaN(), math.NaN()}
			}
			holds = append(holds, q)
		}
		in = false
	}
	for i := range x.lines {
		line := &x.lines[i]
		if line.Measurement == record.Stage || line.Measurement == record.RunEvent && line.Event != "start" {
			leave()
			in = line.Measurement == record.Stage && line.Kind == "hold"
		}
		l.Line(line)
	}
	leave()
	return holds, l.Failed()
}

// The live estimate at the end of a hold against the offline one, which knows the
// whole record: their joint uncertainty should part few of them.
func TestLiveEndsWhereTheWholeRecordDoes(t *testing.T) {
	agree, n, within, known := 0, 0, 0, 0
	list := recordings(t)
	for i := range list {
		x := &list[i]
		live, failed := liveHolds(t, x)
		res, err := Analyse(x.run, x.name, &source{lines: x.lines})
		if err != nil {
			t.Fatal(err)
		}
		if failed && x.verdict == Pass {
			t.Errorf("%s is tight and was called failed", x.name)
		}
		if !failed && x.verdict == Fail {
			t.Logf("%s: the failure shows only afterwards", x.name)
		}
		for i, h := range res.Verdict.Holds {
			if i >= len(live) || h.LeakMLPerH == nil {
				continue
			}
			a, b := live[i], *h.LeakMLPerH
			ua, ub := (a.High-a.Low)/2, (b.High-b.Low)/2
			n++
			ok := math.Abs(a.Estimate-b.Estimate) <= math.Hypot(ua, ub)
			if ok {
				agree++
			}
			truth, has := x.leak[h.Stage]
			if has && !x.gas {
				known++
				if truth >= a.Low && truth <= a.High {
					within++
				}
			}
			if !ok {
				t.Logf("%s stage %d: live %.3f ± %.3f, offline %.3f ± %.3f, truth %.3f", x.name, h.Stage, a.Estimate, ua, b.Estimate, ub, truth)
			}
		}
	}
	t.Logf("live and offline agree in %d of %d holds; the live interval holds the truth in %d of %d", agree, n, within, known)
	if agree*100 < n*92 {
		t.Errorf("live and offline agree in %d of %d holds only", agree, n)
	}
}

// A rig of several sensors writes a line for each; a logger may put all on one.
func TestLiveReadsSensorsOnLinesOfTheirOwn(t *testing.T) {
	list := recordings(t)
	for i := range list {
		x := &list[i]
		whole, failed := liveHolds(t, x)
		apart := recorded{name: x.name, run: x.run}
		for _, l := range x.lines {
			gas, waterC := l.GasC, l.WaterC
			l.GasC, l.WaterC = math.NaN(), math.NaN()
			apart.lines = append(apart.lines, l)
			for k, c := range []float64{gas, waterC} {
				if l.Measurement == record.Chamber && !math.IsNaN(c) {
					var own record.Line
					own.Clear()
					own.TimeNS, own.Measurement, own.Sensor = l.TimeNS, record.Chamber, "t1"
					if own.GasC = c; k == 1 {
						own.Sensor, own.GasC, own.WaterC = "t2", math.NaN(), c
					}
					apart.lines = append(apart.lines, own)
				}
			}
		}
		split, too := liveHolds(t, &apart)
		if failed != too {
			t.Errorf("%s: failed %v on one line, %v on lines apart", x.name, failed, too)
		}
		for k := range whole {
			if d := math.Abs(whole[k].Estimate - split[k].Estimate); d > 0.35*(whole[k].High-whole[k].Low) {
				t.Errorf("%s hold %d: %+v on one line, %+v on lines apart", x.name, k, whole[k], split[k])
			}
		}
	}
}

func TestLiveAllocatesNothing(t *testing.T) {
	x := &recordings(t)[0]
	l, err := NewLive(x.run)
	if err != nil {
		t.Fatal(err)
	}
	if n := testing.AllocsPerRun(1, func() {
		for i := range x.lines {
			l.Line(&x.lines[i])
			l.Leak()
			l.DetectionLimit()
			l.Failed()
		}
	}); n != 0 {
		t.Fatalf("%.0f allocations in %d lines", n, len(x.lines))
	}
}

// BenchmarkLive gives the time a line, over whole records.
func BenchmarkLive(b *testing.B) {
	list := recordings(b)
	r, at := len(list)-1, math.MaxInt
	var l *Live
	for b.Loop() {
		if at >= len(list[r].lines) {
			b.StopTimer()
			r, at = (r+1)%len(list), 0
			l, _ = NewLive(list[r].run)
			b.StartTimer()
		}
		l.Line(&list[r].lines[at])
		at++
	}
}
