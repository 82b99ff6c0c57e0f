package analysis

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"github.com/influxdata/line-protocol/v2/lineprotocol"

	"proofpot/profiles"
	"proofpot/rig/record"
	"proofpot/rig/setup"
)

// nightRun is the sheet of a soak of twelve hours.
func nightRun() setup.Run {
	var run setup.Run
	run.Format = setup.RunFormat
	run.Unit = setup.Unit{ID: "KP-01", OuterVolumeML: 900, FreeVolumeML: 500, SealedPa: 101325}
	run.Bench = setup.Bench{ID: "pot", Medium: "water", Supply: "gas", ChamberVolumeML: 12000, GasCushionML: 300, StiffnessMLPerBar: 2,
		RoomPa: 101325, BlankLeakMLPerHPerBar: 0.03, BlankLeakSDMLPerHPerBar: 0.01}
	run.Profile.Name = "soak"
	run.Profile.Water = profiles.Water{Model: "en13319"}
	run.Profile.Stages = []profiles.Stage{{Name: "soak", DepthM: 30, SettleS: 600, HoldS: 42000}}
	run.Profile.Accept.LeakMLPerH = 0.5
	return run
}

// writeNight writes twelve hours at 10 Hz of six channels, a line each: some 2.6
// million lines.
func writeNight(b testing.TB, path string) {
	f, err := os.Create(path)
	if err != nil {
		b.Fatal(err)
	}
	w := bufio.NewWriterSize(f, 1<<20)
	r := rand.New(rand.NewPCG(7, 7))
	const start, n = int64(1773476102e9), 432_000
	fmt.Fprintf(w, "run,event=start text=\"start\" %d\nvalve,valve=fill open=true %d\nstage,kind=ramp index=0i,name=\"soak\",depth_m=30.0,pressure_pa=401325.0 %d\n", start, start, start)
	for i := int64(1); i <= n; i++ {
		t := start + i*1e8
		s := float64(i) / 10
		p := min(101325+500*s, 401325)
		switch i {
		case 6000:
			fmt.Fprintf(w, "valve,valve=fill open=false %d\nstage,kind=settle index=0i,name=\"soak\",depth_m=30.0,pressure_pa=401325.0 %d\n", t, t)
		case 12000:
			fmt.Fprintf(w, "stage,kind=hold index=0i,name=\"soak\",depth_m=30.0,pressure_pa=401325.0 %d\n", t)
		}
		fmt.Fprintf(w, "chamber,sensor=p1 pressure_pa=%.1f %d\n", p+40*r.NormFloat64(), t)
		fmt.Fprintf(w, "chamber,sensor=t1 gas_c=%.2f %d\n", 20+0.02*r.NormFloat64(), t)
		fmt.Fprintf(w, "chamber,sensor=t2 water_c=%.3f %d\n", 20+0.005*r.NormFloat64(), t)
		fmt.Fprintf(w, "unit,sensor=u1 pressure_pa=%.1f,temperature_c=%.3f,rh_pct=%.3f %d\n", 101325+3*r.NormFloat64(), 20+0.01*r.NormFloat64(), 45+0.05*r.NormFloat64(), t)
		fmt.Fprintf(w, "probe,sensor=w1 wet=false %d\n", t)
		fmt.Fprintf(w, "room,sensor=r1 pressure_pa=%.1f,temperature_c=%.2f %d\n", 101325+5*r.NormFloat64(), 20+0.02*r.NormFloat64(), t)
	}
	fmt.Fprintf(w, "run,event=end text=\"end\" %d\n", start+n*1e8)
	if w.Flush() != nil || f.Close() != nil {
		b.Fatal("cannot write the record")
	}
}

// BenchmarkNight analyses twelve hours at 10 Hz, file to verdict, beside the
// line-protocol library's decoder on the same file.
func BenchmarkNight(b *testing.B) {
	path := filepath.Join(b.TempDir(), "readings.lp")
	writeNight(b, path)
	open := func(b *testing.B) *os.File {
		f, err := os.Open(path)
		if err != nil {
			b.Fatal(err)
		}
		return f
	}
	b.Run("analysis", func(b *testing.B) {
		for b.Loop() {
			f := open(b)
			r, err := Analyse(nightRun(), "night", record.NewReader(f))
			f.Close()
			if err != nil {
				b.Fatal(err)
			}
			if r.Verdict.Holds == nil {
				b.Fatal("no hold")
			}
		}
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		b.ReportMetric(float64(m.HeapSys)/(1<<20), "heap-MiB")
	})
	b.Run("library-decoder", func(b *testing.B) {
		for b.Loop() {
			f := open(b)
			all, err := io.ReadAll(f)
			f.Close()
			if err != nil {
				b.Fatal(err)
			}
			dec := lineprotocol.NewDecoderWithBytes(bytes.TrimSpace(all))
			for dec.Next() {
				if _, err := dec.Measurement(); err != nil {
					b.Fatal(err)
				}
				for {
					if k, _, err := dec.NextTag(); err != nil || k == nil {
						break
					}
				}
				for {
					if k, _, err := dec.NextField(); err != nil || k == nil {
						break
					}
				}
				if _, err := dec.TimeBytes(); err != nil {
					b.Fatal(err)
				}
			}
		}
	})
}
