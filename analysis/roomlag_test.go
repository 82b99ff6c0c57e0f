package analysis

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"proofpot/profiles"
	"proofpot/rig/record"
)

// TestTheGasOfAPotFollowsTheRoomAsFastAsTheRecordShows: in a gas-filled pot without
// a thermometer in it the room stands in; taken too far behind, its swing by some
// tenths of a kelvin within half an hour looked like a leak of many ml/h.
func TestTheGasOfAPotFollowsTheRoomAsFastAsTheRecordShows(t *testing.T) {
	const room, lag = 1e5, 70.0
	for seed := range uint64(3) {
		r := rand.New(rand.NewPCG(seed, 9))
		var b strings.Builder
		put := func(t float64, format string, args ...any) {
			fmt.Fprintf(&b, format+" %d\n", append(args, int64(1_790_000_000_000_000_000)+int64(t*1e9))...)
		}
		air := func(t float64) float64 { return 20 + 0.4*math.Sin(2*math.Pi*t/1500) }
		put(0, `run,event=start text="start"`)
		put(0, "valve,valve=vent open=false")
		at, gas, before := 0.0, 20.0, room
		run := nightRun()
		run.Profile.Stages = nil
		for k := range 5 {
			depth := 8.0 * float64(k+1)
			run.Profile.Stages = append(run.Profile.Stages, profiles.Stage{DepthM: depth, SettleS: 200, HoldS: 600})
			target := room + depth*1e4
			put(at, "valve,valve=fill open=true")
			put(at, `stage,kind=ramp index=%di,name="s",depth_m=%g,pressure_pa=%.0f`, k, depth, target)
			start := at
			for ; at < start+860; at++ {
				gas += (air(at) - gas) / lag
				since := at - start
				switch since {
				case 60:
					put(at, "valve,valve=fill open=false")
					put(at, `stage,kind=settle index=%di,name="s",depth_m=%g,pressure_pa=%.0f`, k, depth, target)
				case 260:
					put(at, `stage,kind=hold index=%di,name="s",depth_m=%g,pressure_pa=%.0f`, k, depth, target)
				}
				kelvin := gas + 273.15
				if since > 60 {
					kelvin += 8 * math.Exp(-(since-60)/lag)
				} else {
					kelvin += 8 * since / 60
				}
				p := (before + (target-before)*min(since/60, 1)) * kelvin / 293.15
				put(at, "chamber,sensor=p1 pressure_pa=%.0f", p+30*r.NormFloat64())
				if int(at)%10 == 0 {
					put(at, "room,sensor=r1 pressure_pa=%.0f,temperature_c=%.3f", room, air(at)+0.03*r.NormFloat64())
				}
			}
			before = target
		}
		put(at, `stage,kind=vent index=4i,name="end",depth_m=0.0,pressure_pa=%.0f`, room)
		put(at, "valve,valve=vent open=true")
		put(at, `run,event=end text="end"`)
		run.Bench.Medium, run.Bench.ChamberVolumeML, run.Bench.GasCushionML = "gas", 15000, 0
		run.Bench.RoomPa, run.Unit.SealedPa = room, room
		run.Bench.BlankLeakMLPerHPerBar, run.Bench.BlankLeakSDMLPerHPerBar = 0, 0.012
		a, err := begin(run, "20260101T000000Z-KP-01", record.NewReader(bytes.NewReader([]byte(b.String()))))
		if err != nil {
			t.Fatal(err)
		}
		a.measure()
		for _, st := range a.stages {
			if i := st.both.interval(); i.Low > 0 || i.High < 0 {
				t.Errorf("seed %d, %g m: a tight unit leaks %+v", seed, st.depthM, i)
			}
		}
	}
}
