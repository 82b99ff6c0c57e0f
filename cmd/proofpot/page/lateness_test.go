package page

import (
	"bufio"
	"context"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"testing"
	"time"

	"proofpot/analysis"
	"proofpot/profiles"
	"proofpot/rig"
	"proofpot/rig/record"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
	"proofpot/sensors"
)

// nowhere is a disk that takes everything at once.
type nowhere struct{}

func (nowhere) Write(p []byte) (int, error) { return len(p), nil }
func (nowhere) Sync() error                 { return nil }
func (nowhere) Close() error                { return nil }

// lateness runs the real loop at 50 Hz on the real clock for a while and gives by
// how much each step came late, sorted.
func lateness(t *testing.T, on *Console, long time.Duration) []time.Duration {
	t.Helper()
	p, err := profiles.Load("soak-overnight-30m-sea")
	if err != nil {
		t.Fatal(err)
	}
	run := setup.Run{Format: setup.RunFormat, Profile: p, Bench: simbench.BuiltInBench(), Unit: simbench.BuiltInUnit()}
	run.Bench.PeriodMS, run.Bench.RoomPa, run.Unit.SealedPa = 20, 101325, 101325
	plan, err := rig.NewPlan(run)
	if err != nil {
		t.Fatal(err)
	}
	column, err := profiles.NewColumn(p.Water)
	if err != nil {
		t.Fatal(err)
	}
	clock := rig.NewRealClock()
	cfg := simbench.Default(run, 1)
	cfg.GaugePa = column.GaugePa
	bench, err := simbench.New(cfg, clock.Now().Wall)
	if err != nil {
		t.Fatal(err)
	}
	live, err := analysis.NewLive(run)
	if err != nil {
		t.Fatal(err)
	}
	on.Plan(run, plan, live)
	writer := record.NewWriter(nowhere{}, clock.Now().Wall)
	writer.OnLine = func(l *record.Line) { live.Line(l); on.Line(l) }
	var late []time.Duration
	first, k := time.Duration(-1), 0
	ctx, stop := context.WithTimeout(context.Background(), long)
	defer stop()
	loop := &rig.Loop{Plan: plan, Devices: bench, Clock: clock, Recorder: writer, SyncEvery: time.Second, Operator: on.Operator,
		Observe: func(now rig.Instant, s *rig.State, out *rig.Output, rs []sensors.Reading) {
			if ctx.Err() == nil {
				if first < 0 {
					first = now.Mono
				}
				if l := now.Mono - first - time.Duration(k)*plan.Period; l > plan.Period {
					first, k = now.Mono, 0 // ticks were missed
					late = append(late, l)
				} else {
					late = append(late, l)
				}
				k++
			}
			on.Step(now, s, out, rs)
		}}
	_ = loop.Run(ctx) // ends stopped by the operator
	slices.Sort(late)
	return late
}

// TestFiguresOfTheLoopsLateness measures the loop at 50 Hz with one core kept busy,
// with no viewer and with twenty.
func TestFiguresOfTheLoopsLateness(t *testing.T) {
	if os.Getenv("PROOFPOT_FIGURES") == "" {
		t.Skip("figures are measured with PROOFPOT_FIGURES=1")
	}
	done := make(chan struct{})
	defer close(done)
	go func() {
		for x := 1.0; ; x *= 1.0000001 {
			select {
			case <-done:
				return
			default:
			}
		}
	}()
	for _, viewers := range []int{0, 20} {
		b := &standIn{records: t.TempDir()}
		ctx, cancel := context.WithCancel(context.Background())
		s := New(ctx, b, Options{Local: true, Records: b.records})
		server := httptest.NewServer(s.Handler())
		for range viewers {
			go func() {
				resp, err := http.Get(server.URL + "/api/news?client=viewer")
				if err != nil {
					return
				}
				defer resp.Body.Close()
				for lines := bufio.NewScanner(resp.Body); lines.Scan(); {
				}
			}()
		}
		time.Sleep(time.Second)
		late := lateness(t, &Console{hub: s.hub}, 30*time.Second)
		at := func(share float64) time.Duration {
			return late[int(share*float64(len(late)-1))].Round(10 * time.Microsecond)
		}
		t.Logf("%d viewers, %d steps: late by p50 %v, p99 %v, p99.9 %v, at most %v", viewers, len(late), at(0.5), at(0.99), at(0.999), at(1))
		cancel()
		server.CloseClientConnections()
		server.Close()
	}
}
