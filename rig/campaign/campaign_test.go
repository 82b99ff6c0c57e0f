package campaign

import (
	"context"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
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
func spans(t testing.TB, sc scenario) []span {
	sc.seed, sc.from = 1, never
	if !sc.regulated() {
		sc.fault = ""
	}
	tr := &trial{scenario: sc, roll: rand.New(rand.NewPCG(1, 1)), start: time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC)}
	if err := tr.prepare(); err != nil {
		t.Fatalf("%s: %v", sc, err)
	}
	var all []span
	last := ""
	loop := tr.loop(nothing{})
	loop.Observe = func(now rig.Instant, s *rig.State, _ *rig.Output, _ []sensors.Reading) {
		if s.Phase == rig.Ready || s.Phase == rig.Done {
			return
		}
		kind := tr.run.Profile.Stages[tr.plan.Legs[s.Leg].Stage].Kind
		if kind == "" {
			kind = profiles.KindHold
		}
		name := kind + " " + s.Phase.String()
		if name != last {
			all = append(all, span{stage: name, from: now.Mono})
			last = name
		}
		all[len(all)-1].till = now.Mono
	}
	if err := loop.Run(context.Background()); err != nil || loop.State().Stopped != rig.NotStopped {
		t.Errorf("%s with nothing wrong: %v, %s", sc, err, loop.State().Stopped)
	}
	return all
}

// never is when nothing goes wrong.
const never = time.Duration(-1)

// benches is how many benches there are for a profile, each with figures of its own.
const benches = 3

// wholeEvery-th case of the whole campaign has its profile's own times.
const wholeEvery = 40

// scenarios lays out the campaign: each fault at a moment of its own in one of
// the spans of each kind of stage and phase, on a bench with valves and by hand.
// Every so many-th of them where it is told so; 0: the part that CI runs.
func scenarios(t testing.TB, every int) (list []scenario) {
	n := 0
	for i, profile := range profiles.BuiltIn() {
		if every == 0 && (i%4 != 1 || testing.Short() && i != 13) {
			continue
		}
		for hand := range 2 {
			sc := scenario{profile: profile, byHand: hand == 1, seed: uint64(i+1)*10_000 + uint64(hand)*5000}
			if sc.byHand && makesUp(t, profile) {
				continue
			}
			cache := map[scenario]map[string][]span{}
			lies := func(c scenario) map[string][]span {
				c.seed, c.stage = 0, ""
				if !c.regulated() {
					c.fault = ""
				}
				if cache[c] == nil {
					cache[c] = grouped(spans(t, c))
				}
				return cache[c]
			}
			sc.bench = sc.seed
			var names []string
			for name := range lies(sc) {
				names = append(names, name)
			}
			slices.Sort(names)
			for k, fault := range kinds() {
				if sc.byHand && ofValves(fault) {
					continue
				}
				for j, name := range names {
					sc.seed++
					if every == 0 && (k+j+i)%len(names) != 0 {
						continue
					}
					if n++; every > 1 && n%every != 0 {
						continue
					}
					c := sc
					c.stage, c.fault = name, fault
					if every > 0 {
						c.bench, c.whole = sc.bench+uint64(n%benches), n%wholeEvery == 0
					}
					roll := rand.New(rand.NewPCG(c.seed, 3))
					from := lies(c)[name]
					if len(from) == 0 {
						continue // a bench that needs no such phase
					}
					s := from[roll.IntN(len(from))]
					c.from = s.from + time.Duration(roll.Float64()*float64(s.till-s.from))
					list = append(list, c)
				}
			}
		}
	}
	return list
}

func grouped(all []span) map[string][]span {
	by := map[string][]span{}
	for _, s := range all {
		by[s.stage] = append(by[s.stage], s)
	}
	return by
}

// makesUp tells whether a profile wants valves.
func makesUp(t testing.TB, profile string) bool {
	p, err := profiles.Load(profile)
	if err != nil {
		t.Fatal(err)
	}
	return slices.ContainsFunc(p.Stages, func(s profiles.Stage) bool { return s.MakeUp })
}

// ofValves are faults of what a bench has not that is worked by hand.
func ofValves(fault string) bool {
	for _, word := range []string{"fill valve", "vent valve", "drive", "supply", "compressor", "regulator"} {
		if strings.HasPrefix(fault, word) {
			return true
		}
	}
	return false
}

// row is what a kind of run came to.
type row struct {
	runs, ended int
	overPa      float64
	noticed     []time.Duration
	toSafe      time.Duration
	lost, most  int
	unsafe      int
}

// TestNothingThatBreaksIsUnsafe is the campaign, in part; all of it, with the
// table for README.md printed, with
//
//	PROOFPOT_CAMPAIGN=1 go test ./rig/campaign -run Unsafe -v -timeout 4h
//
// (PROOFPOT_CAMPAIGN=8: every eighth case.)
// One case alone: PROOFPOT_SEED=1234. One fault alone: PROOFPOT_FAULT="drive fails".
func TestNothingThatBreaksIsUnsafe(t *testing.T) {
	every, _ := strconv.Atoi(os.Getenv("PROOFPOT_CAMPAIGN"))
	one, fault := os.Getenv("PROOFPOT_SEED"), os.Getenv("PROOFPOT_FAULT")
	began := time.Now()
	if one != "" {
		every = 1
	}
	var list []scenario
	for _, sc := range scenarios(t, every) {
		if (one == "" || fmt.Sprint(sc.seed) == one) && (fault == "" || sc.fault == fault) {
			list = append(list, sc)
		}
	}
	outcomes := make([]outcome, len(list))
	var next atomic.Int64
	var workers sync.WaitGroup
	for range min(2, runtime.GOMAXPROCS(0)) {
		workers.Go(func() {
			for i := next.Add(1) - 1; i < int64(len(list)); i = next.Add(1) - 1 {
				outcomes[i] = play(list[i])
			}
		})
	}
	workers.Wait()
	refused, whole, simulated := map[string]int{}, 0, 0.0
	for i, sc := range list {
		out := &outcomes[i]
		if sc.whole {
			whole++
		}
		simulated += out.simS
		if out.refused != "" {
			refused[out.refused]++
		}
		if complain := t.Errorf; out.unsafe != "" || out.lost != 0 {
			if backstop == withNothing { // what then happens is in README.md
				complain = t.Logf
			}
			complain("%s: %s, %d readings lost, stopped %q", sc, out.unsafe, out.lost, out.stopped)
		}
		if one != "" || os.Getenv("PROOFPOT_EACH") != "" {
			t.Logf("%s: %+v", sc, *out)
		}
	}
	took := time.Since(began)
	t.Logf("%d runs, %d of them with the profile's own times, %.0f simulated hours in %.0f s: %.0f simulated hours a minute; killed and not gone on with: %v\n%s\n%s\n%s",
		len(list), whole, simulated/3600, took.Seconds(), simulated/3600/took.Minutes(), refused,
		table("fault", list, outcomes, func(s scenario) string { return s.fault }),
		table("stage and phase", list, outcomes, func(s scenario) string { return s.stage }),
		table("profile", list, outcomes, func(s scenario) string { return s.profile }))
}

// table sums up what came of the runs, by what they are told apart by.
func table(by string, list []scenario, outcomes []outcome, key func(scenario) string) string {
	rows := map[string]*row{}
	for i, sc := range list {
		out := &outcomes[i]
		r := rows[key(sc)]
		if r == nil {
			r = &row{overPa: -1e9}
			rows[key(sc)] = r
		}
		r.runs++
		r.overPa, r.toSafe = max(r.overPa, out.overPa), max(r.toSafe, out.toSafe)
		r.lost, r.most = r.lost+out.lost, max(r.most, out.taken)
		if out.stopped != rig.NotStopped {
			r.ended++
			if out.noticed >= 0 {
				r.noticed = append(r.noticed, out.noticed)
			}
		}
		if out.unsafe != "" || out.lost != 0 {
			r.unsafe++
		}
	}
	var text strings.Builder
	text.WriteString("| " + by + " | runs | ended by it | after, s, median / longest | until safe, s | highest pressure to the limit, bar | readings lost | taken by it | unsafe |\n|---|---|---|---|---|---|---|---|---|\n")
	for _, name := range slices.Sorted(maps.Keys(rows)) {
		r := rows[name]
		after := "–"
		if n := len(r.noticed); n > 0 {
			slices.Sort(r.noticed)
			after = fmt.Sprintf("%.1f / %.1f", r.noticed[n/2].Seconds(), r.noticed[n-1].Seconds())
		}
		fmt.Fprintf(&text, "| %s | %d | %d | %s | %.1f | %+.2f | %d | %d | %d |\n", name, r.runs, r.ended, after, r.toSafe.Seconds(), r.overPa/1e5, r.lost, r.most, r.unsafe)
	}
	return text.String()
}

// TestAScenarioReplaysBitForBit: the same seed gives the same commands.
func TestAScenarioReplaysBitForBit(t *testing.T) {
	list := scenarios(t, 0)
	for i := 0; i < len(list); i += 1 + len(list)/12 {
		if a, b := play(list[i]), play(list[i]); a != b {
			t.Errorf("%s: once %+v, then %+v", list[i], a, b)
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
