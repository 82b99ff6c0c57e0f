package analysis

import (
	"math"
)

// The causes that a sudden loss, the sensors inside the unit, a wet probe or a
// gap may have.

func (f *facts) opened() *thought {
	t := &thought{Explanation: Explanation{Cause: "the unit gave way at once", Holds: true}}
	j := f.a.steps[0]
	comp := f.a.compliance(j.t0)
	t.pro(min(j.z(), 30)/3, "at %.2f m the pressure fell by %s between two readings, %.0f times its uncertainty: as if %.3g ml had gone", f.a.depth(j.pa), pascals(j.drop), j.z(), j.drop*comp)
	if after := f.a.leakAfter(j.t0); after > f.limit {
		t.pro(2, "afterwards %.3g ml/h go on: it stands open", after)
	} else {
		t.pro(0.5, "no leak above the limit follows: it lost volume and stayed tight, or the void was full")
	}
	if f.a.in != nil && len(f.a.in.steps()) > 0 {
		t.pro(3, "the pressure inside rose at once by %s", pascals(f.a.in.steps()[0].drop))
	} else if f.a.in != nil && f.a.in.pa != nil {
		t.con(1, "the pressure inside shows no sudden rise")
	}
	if f.wet {
		t.pro(3, "the wet probe is wet")
	}
	t.Experiment = "vent, open and look; a hold at low pressure tells whether it leaks"
	return t
}

func (f *facts) jumped() *thought {
	t := &thought{Explanation: Explanation{Cause: "a jump of the transducer, or the unit shifting"}, keep: true}
	j := f.a.steps[0]
	t.pro(0.5, "one transducer can jump alone")
	t.con(1, "the readings after it stay low or are made good only by the supply")
	if len(f.a.x.chambers) > 1 {
		t.con(2, "%d transducers are read", len(f.a.x.chambers))
	}
	for _, c := range f.a.x.changes() {
		if math.Abs(c-j.t0) < 3*f.a.s.dt {
			t.pro(1, "a valve moved within %.1f s", math.Abs(c-j.t0))
			break
		}
	}
	inside := f.a.in != nil && len(f.a.in.steps()) > 0
	if inside {
		t.con(4, "the pressure inside the unit jumped as well")
	}
	if f.confirmed() {
		t.con(3, "the sensors in the unit show that water comes in")
	}
	t.Holds = !inside && !f.confirmed() && f.a.leakAfter(j.t0) <= f.limit && len(f.a.x.chambers) == 1
	if t.Holds {
		t.Experiment = "go to the same pressure again: a unit that collapsed gives no second step, a loose transducer does; compare with a second gauge"
	}
	return t
}

// gained is the vapour gained, mg, and what of it the humidity's readings can feign.
func (f *facts) gained() (mg, noise float64) {
	v := f.a.in
	return (f.vapour1 - f.vapour0) * v.freeML / 1000, 3 * max(v.mgSD, 1e-3*v.mg[0])
}

// vapourMay is the highest upper bound of the vapour that comes in, mg/h.
func (f *facts) vapourMay() float64 {
	top := 0.0
	for _, st := range f.a.stages {
		if st.damp != nil {
			top = max(top, st.damp.interval().High)
		}
	}
	return top
}

func (f *facts) vapourIn() *thought {
	mg, noise := f.gained()
	if math.Abs(mg) < noise && f.shows <= 0 {
		return nil
	}
	t := &thought{Explanation: Explanation{Cause: "water vapour coming into the unit"}}
	if mg > noise {
		t.pro(1, "absolute humidity inside went from %.2f to %.2f g/m³: %.3g mg gained", f.vapour0, f.vapour1, mg)
	} else {
		t.con(2, "absolute humidity inside went from %.2f to %.2f g/m³ only", f.vapour0, f.vapour1)
	}
	d := f.a.damp
	switch {
	case d == nil || math.IsNaN(d.u):
	case d.satured:
		t.pro(6, "the air inside reached saturation")
	case d.rising:
		t.pro(min(d.gain, 400)/60, "the gain follows the pressure: %.3g mg/h for each bar (misfit without it larger by %.0f in χ²)", d.k*1e5, d.gain)
	default:
		t.con(3, "the gain does not follow the pressure")
	}
	if f.inSays > 0 {
		t.pro(2, "the pressure inside rises too")
	} else if f.inSays < 0 {
		t.con(0.5, "the pressure inside does not rise; vapour alone is too little for it to see")
	}
	t.Holds = f.shows > 0 || f.shows == 0 && mg > noise
	if may := f.vapourMay(); f.shows <= 0 && may < f.a.run.Profile.Accept.MoistureMGPerH {
		t.con(1, "no more than %.2g mg/h in any hold, and the limit is %g", may, f.a.run.Profile.Accept.MoistureMGPerH)
		return t
	}
	if t.Holds && f.inSays <= 0 {
		t.Experiment = "hold dry at room pressure for as long: walls that give off moisture go on, an ingress stops"
	}
	return t
}

func (f *facts) wetPrint() *thought {
	mg, noise := f.gained()
	if mg < noise {
		return nil
	}
	t := &thought{Explanation: Explanation{Cause: "moisture given off by the unit's own walls"}}
	d := f.a.damp
	switch {
	case d == nil || math.IsNaN(d.u):
		t.pro(0.5, "the humidity inside rose and could not be judged")
	case !d.rising && !d.satured:
		t.pro(3, "%.3g mg were gained, and a relaxation with some %.0f min describes it without any source that follows the pressure", mg, d.tau/60)
	default:
		t.con(4, "a relaxation alone does not describe it: a source that follows the pressure does")
	}
	if f.wet || f.inSays > 0 {
		t.con(3, "the other sensors inside show that water comes in")
	}
	t.Holds = f.shows <= 0 && !f.wet && f.inSays <= 0 && len(t.For) > 0
	if t.Holds && !(f.vapourMay() < f.a.run.Profile.Accept.MoistureMGPerH) {
		t.Experiment = "hold dry at room pressure for as long, or dry the unit and repeat: the same rise without pressure is its walls'"
	}
	return t
}

func (f *facts) condensation() *thought {
	if !(f.rh1-f.rh0 > 1) && !(f.rh1 > humidityEnd) {
		return nil
	}
	t := &thought{Explanation: Explanation{Cause: "cooling of the air inside: damper, but no wetter"}}
	mg, noise := f.gained()
	if f.in1 < f.in0-0.05 {
		t.pro(2, "the inside cooled from %.2f to %.2f °C while relative humidity went from %.1f to %.1f %%", f.in0, f.in1, f.rh0, f.rh1)
	} else {
		t.con(2, "the inside did not cool: %.2f to %.2f °C", f.in0, f.in1)
	}
	if mg < noise {
		t.pro(2, "absolute humidity stayed: %.2f and %.2f g/m³", f.vapour0, f.vapour1)
	} else {
		t.con(3, "absolute humidity rose from %.2f to %.2f g/m³, which cooling cannot do", f.vapour0, f.vapour1)
	}
	t.Holds = len(t.Against) == 0
	if t.Holds && f.rh1 > 80 {
		t.Experiment = "close the unit in drier air"
	}
	return t
}

func (f *facts) squeeze() *thought {
	v := f.a.in
	end := math.NaN()
	for _, st := range f.a.stages {
		if d := st.dwell(); d.real() {
			end = d.end
		}
	}
	// What the air has lost of its room, from p V/T, over the last readings.
	lo, hi := between(v.t, end-max(60, 20*v.dt), end)
	lost, n := 0.0, 0.0
	for i := lo; i < hi; i++ {
		if !v.bad[i] {
			lost += v.ml[i]
			n++
		}
	}
	lost /= n
	if !(math.Abs(lost) > max(5*v.noise/math.Sqrt(n), 3e-4*v.freeML)) {
		return nil
	}
	t := &thought{Explanation: Explanation{Cause: "squeeze of the unit"}}
	t.pro(0.5, "by the end of the last hold the air inside had lost %.2g ml of its %.4g ml, at %.2f bar outside", lost, v.freeML, (f.a.pressureAt(end)-f.a.sealed)/1e5)
	if f.inSays > 0 {
		t.con(3, "it goes on while the chamber's pressure stays, which squeeze does not")
	} else {
		t.pro(1, "it does not go on in the holds")
	}
	if lost < 0 {
		t.con(2, "its room grew, which squeeze does not make it do")
	}
	t.Holds = f.inSays <= 0 && lost > 0
	if t.Holds && f.doubtful() {
		t.Experiment = "read the pressure inside after the vent: a squeezed unit comes back at once"
	}
	return t
}

func (f *facts) wetFalse() *thought {
	t := &thought{Explanation: Explanation{Cause: "a probe that is wet without a leak: condensate, a salt bridge, a damp tissue"}}
	w := f.a.x.wets[0]
	if !w.stays {
		t.pro(3, "probe %s was wet for one reading only", w.sensor)
	} else {
		t.con(1, "probe %s stays wet", w.sensor)
	}
	switch {
	case f.inSays > 0 || f.shows > 0:
		t.con(4, "the other sensors inside show that water comes in")
	case f.shows < 0:
		t.pro(2, "the humidity inside does not follow the pressure")
	}
	if f.e != nil && f.low > f.limit {
		t.con(3, "the pressure falls as with a leak: %s", f.leakText())
	}
	if len(f.a.steps) > 0 {
		t.con(2, "a sudden loss of pressure went before")
	}
	t.Holds = !w.stays || len(t.Against) < 2
	if t.Holds {
		t.Experiment = "open, look and dry the probe; wet it with a drop to see that it works, and test again"
	}
	return t
}

func (f *facts) interruption() *thought {
	t := &thought{Explanation: Explanation{Cause: "the logging was interrupted, not the test", Holds: true}}
	longest, sum := f.a.gaps[0], 0.0
	for _, g := range f.a.gaps {
		sum += g.end - g.start
		if g.end-g.start > longest.end-longest.start {
			longest = g
		}
	}
	t.pro(1, "%s without chamber pressure, %s in all, the longest %s", counted(len(f.a.gaps), "gap", "gaps"), lasting(sum), lasting(longest.end-longest.start))
	before, after := f.a.smoothPressure(longest.start), f.a.smoothPressure(longest.end)
	moved := openAt(f.a.x.fill, longest.start) || openAt(f.a.x.vent, longest.start)
	for _, c := range f.a.x.changes() {
		moved = moved || c > longest.start && c < longest.end
	}
	if moved {
		t.con(0.5, "a valve was open in the longest: what the pressure did in it is not known")
	} else if d := after - before; !math.IsNaN(d) {
		if math.Abs(d) < 0.01*before {
			t.pro(1, "the pressure stood at %.3f bar before the longest and %.3f bar after it: it held", before/1e5, after/1e5)
		} else {
			t.con(2, "the pressure went from %.3f to %.3f bar in the longest", before/1e5, after/1e5)
			t.Holds = false
		}
	}
	t.Experiment = "repeat the hold without an interruption: what nobody read cannot be passed"
	return t
}
