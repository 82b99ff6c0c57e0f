package campaign

import (
	"cmp"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"proofpot/profiles"
	"proofpot/rig"
	"proofpot/rig/simbench"
	"proofpot/sensors"
)

// kinds lists all that may go wrong.
func kinds() []string {
	all := []string{diskFull, killed, clockAhead, clockBehind, aborted}
	for _, k := range simbench.BenchFaultKinds() {
		all = append(all, k.Kind.String())
	}
	return all
}

// span is where a kind of stage lies in a run.
type span struct {
	stage      string
	from, till time.Duration
}

// spans runs a profile with nothing wrong, and gives where each phase of each
// kind of its stages lies, the first of each.
func spans(t testing.TB, profile string) []span {
	run := sheet(t, profile)
	plan, err := rig.NewPlan(run)
	if err != nil {
		t.Fatalf("%s: %v", profile, err)
	}
	start := time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC)
	b, err := simbench.New(simbench.Default(run, 1), start)
	if err != nil {
		t.Fatal(err)
	}
	var all []span
	last := ""
	loop := &rig.Loop{Plan: plan, Devices: b, Clock: rig.NewSimClock(start, 0), Recorder: nothing{}, SyncEvery: time.Hour,
		Operator: func() rig.Operator { return rig.Operator{Ready: b.Answered()} },
		Observe: func(now rig.Instant, s *rig.State, _ *rig.Output, _ []sensors.Reading) {
			if s.Phase == rig.Ready || s.Phase == rig.Done {
				return
			}
			kind := run.Profile.Stages[plan.Legs[s.Leg].Stage].Kind
			if kind == "" {
				kind = profiles.KindHold
			}
			name := kind + " " + s.Phase.String()
			if name != last {
				all = append(all, span{stage: name, from: now.Mono})
				last = name
			}
			all[len(all)-1].till = now.Mono
		}}
	if err := loop.Run(context.Background()); err != nil || loop.State().Stopped != rig.NotStopped {
		t.Fatalf("%s with nothing wrong: %v, %s", profile, err, loop.State().Stopped)
	}
	return all
}

// scenarios lays out the campaign: each fault at a moment of its own in one of
// the spans of each kind of stage and phase.
// Every so many-th of them where it is told so; 0: the part that CI runs.
func scenarios(t testing.TB, every int) (list []scenario) {
	n := 0
	for i, profile := range profiles.BuiltIn() {
		if every == 0 && (i%4 != 1 || testing.Short() && i != 13) {
			continue
		}
		seed := uint64(i+1) * 1000
		by := map[string][]span{}
		var names []string
		for _, s := range spans(t, profile) {
			if by[s.stage] == nil {
				names = append(names, s.stage)
			}
			by[s.stage] = append(by[s.stage], s)
		}
		for k, fault := range kinds() {
			for j, name := range names {
				seed++
				if every == 0 && (k+j+i)%len(names) != 0 {
					continue
				}
				if n++; every > 1 && n%every != 0 {
					continue
				}
				roll := rand.New(rand.NewPCG(seed, 3))
				s := by[name][roll.IntN(len(by[name]))]
				at := s.from + time.Duration(roll.Float64()*float64(s.till-s.from))
				list = append(list, scenario{profile: profile, stage: name, fault: fault, from: at, seed: seed})
			}
		}
	}
	return list
}

// row is what a kind of fault came to.
type row struct {
	fault       string
	runs, ended int
	overPa      float64
	noticed     []time.Duration
	toSafe      time.Duration
	lost, most  int
	unsafe      int
	stops       map[rig.Stop]int
}

// TestNothingThatBreaksIsUnsafe is the campaign, in part; all of it, with the
// table for README.md printed, with
//
//	PROOFPOT_CAMPAIGN=1 go test ./rig/campaign -run Unsafe -v -timeout 4h
//
// (PROOFPOT_CAMPAIGN=8: every eighth case.)
// One case alone: PROOFPOT_SEED=1234.
func TestNothingThatBreaksIsUnsafe(t *testing.T) {
	every, _ := strconv.Atoi(os.Getenv("PROOFPOT_CAMPAIGN"))
	one := os.Getenv("PROOFPOT_SEED")
	began := time.Now()
	rows := map[string]*row{}
	simulated, runs := 0.0, 0
	if one != "" {
		every = 1
	}
	for _, sc := range scenarios(t, every) {
		if one != "" && fmt.Sprint(sc.seed) != one {
			continue
		}
		out := play(t, sc)
		r := rows[sc.fault]
		if r == nil {
			r = &row{fault: sc.fault, overPa: -1e9, stops: map[rig.Stop]int{}}
			rows[sc.fault] = r
		}
		r.runs++
		runs++
		simulated += out.simS
		r.overPa, r.toSafe = max(r.overPa, out.overPa), max(r.toSafe, out.toSafe)
		r.lost, r.most = r.lost+out.lost, max(r.most, out.taken)
		if out.stopped != rig.NotStopped {
			r.ended++
			r.stops[out.stopped]++
			if out.noticed >= 0 {
				r.noticed = append(r.noticed, out.noticed)
			}
		}
		if out.unsafe != "" || out.lost != 0 {
			r.unsafe++
			t.Errorf("%s: %s, %d readings lost, stopped %q", sc, out.unsafe, out.lost, out.stopped)
		}
		if one != "" {
			t.Logf("%s: %+v", sc, out)
		}
	}
	var all []*row
	for _, r := range rows {
		all = append(all, r)
	}
	slices.SortFunc(all, func(a, b *row) int { return cmp.Compare(a.fault, b.fault) })
	var text strings.Builder
	text.WriteString("| fault | runs | ended by it | after, s, median / longest | until safe, s | highest pressure to the limit, bar | readings lost | taken by it | unsafe |\n|---|---|---|---|---|---|---|---|---|\n")
	for _, r := range all {
		after := "–"
		if n := len(r.noticed); n > 0 {
			slices.Sort(r.noticed)
			after = fmt.Sprintf("%.1f / %.1f", r.noticed[n/2].Seconds(), r.noticed[n-1].Seconds())
		}
		fmt.Fprintf(&text, "| %s | %d | %d | %s | %.1f | %+.2f | %d | %d | %d |\n", r.fault, r.runs, r.ended, after, r.toSafe.Seconds(), r.overPa/1e5, r.lost, r.most, r.unsafe)
	}
	took := time.Since(began)
	t.Logf("%d runs, %.0f simulated hours in %.0f s: %.0f simulated hours a minute\n%s", runs, simulated/3600, took.Seconds(), simulated/3600/took.Minutes(), text.String())
}

// TestAScenarioReplaysBitForBit: the same seed gives the same commands.
func TestAScenarioReplaysBitForBit(t *testing.T) {
	list := scenarios(t, 0)
	for i := 0; i < len(list); i += 1 + len(list)/12 {
		if list[i].fault == diskFull { // when the disk says so is the disk's affair
			continue
		}
		if a, b := play(t, list[i]), play(t, list[i]); a.commands != b.commands {
			t.Errorf("%s: the commands differ", list[i])
		}
	}
}

// nothing is a recorder that keeps nothing.
type nothing struct{}

func (nothing) Readings([]sensors.Reading)                                 {}
func (nothing) Valve(time.Duration, string, bool)                          {}
func (nothing) Setpoint(time.Duration, float64)                            {}
func (nothing) Stage(time.Duration, string, int, string, float64, float64) {}
func (nothing) Fault(time.Duration, string, string, string, string)        {}
func (nothing) Note(time.Duration, string)                                 {}
func (nothing) Run(time.Duration, string, string)                          {}
func (nothing) Flush(time.Duration) error                                  { return nil }
func (nothing) Sync() error                                                { return nil }
