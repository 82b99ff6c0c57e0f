package analysis_test

import (
	"bufio"
	"io"
	"os"
	"strconv"
	"testing"

	"proofpot/analysis"
	"proofpot/profiles"
	"proofpot/rig/record"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
	"proofpot/rig/simbench/inmemory"
)

// piped is a record that is read while it is written.
type piped struct {
	*bufio.Writer
	to *io.PipeWriter
}

func (piped) Sync() error    { return nil }
func (p piped) Close() error { p.Flush(); return p.to.Close() }

// soaked runs a tight unit through two stages that share so many days, and has
// the record analysed as it comes: text of a month would be a gigabyte.
func soaked(t *testing.T, days float64, seed uint64, change func(*setup.Run)) *analysis.Result {
	t.Helper()
	p, err := profiles.Load("proof-30m-sea")
	if err != nil {
		t.Fatal(err)
	}
	hold := days * 86400 / 2
	p.Stages = []profiles.Stage{{Name: "one", DepthM: 20, SettleS: 3600, HoldS: hold}, {Name: "two", DepthM: 21, SettleS: 3600, HoldS: hold}}
	p.Accept.MoistureMGPerH, p.Accept.InsideRisePa = 0, 0
	run := setup.Run{Format: setup.RunFormat, Profile: p, Bench: simbench.BuiltInBench(), Unit: simbench.BuiltInUnit()}
	if change != nil {
		change(&run)
	}
	from, to := io.Pipe()
	ended := make(chan error, 1)
	go func() {
		ran, err := inmemory.Run(run, simbench.Default(run, seed), inmemory.Options{File: piped{bufio.NewWriterSize(to, 1<<16), to}})
		if err == nil {
			err = ran.Ended
		}
		to.CloseWithError(err)
		ended <- err
	}()
	sheet := run
	sheet.Bench.RoomPa = 0 // by the record's barometer: the run is not over yet
	res, err := analysis.Analyse(sheet, "test", record.NewReader(from))
	if err != nil {
		t.Fatal(err)
	}
	if err := <-ended; err != nil {
		t.Fatal(err)
	}
	return res
}

// TestATightUnitPassesHoweverLongItSoaks: over days the gas leaks away from the
// bench, weather and days go by. A month is put into two days: the bench leaks
// fifteen times as much. PROOFPOT_DAYS says how many real days, instead.
func TestATightUnitPassesHoweverLongItSoaks(t *testing.T) {
	type soak struct {
		days  float64
		times int // as long as that many times the days, in what is lost
	}
	soaks := []soak{{1, 1}, {0.6, 5}, {1, 7}, {2, 15}}
	if testing.Short() {
		soaks = []soak{{0.4, 10}}
	}
	if d, err := strconv.ParseFloat(os.Getenv("PROOFPOT_DAYS"), 64); err == nil {
		soaks = []soak{{d, 1}}
	}
	seed := uint64(100)
	for _, c := range soaks {
		for _, name := range []string{"valves, 300 ml cushion", "no sensor inside"} {
			seed++
			v := soaked(t, c.days, seed, func(r *setup.Run) {
				if change := pots[name]; change != nil {
					change(r)
				}
				r.Bench.BlankLeakMLPerHPerBar *= float64(c.times)
			}).Verdict
			if v.Verdict != analysis.Pass {
				t.Errorf("%g days, %s: %s, %v", c.days*float64(c.times), name, v.Verdict, v.Reasons)
			}
			for _, h := range v.Holds {
				if l := h.LeakMLPerH; l == nil || l.Low > 0 || l.High < 0 {
					t.Errorf("%g days, %s, hold at %g m: %+v, where nothing leaks", c.days*float64(c.times), name, h.DepthM, l)
				} else {
					t.Logf("%g days, %s, hold at %g m: %+v", c.days*float64(c.times), name, h.DepthM, *l)
				}
			}
		}
	}
}
