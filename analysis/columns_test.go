package analysis

import (
	"io"
	"math"
	"math/rand/v2"
	"testing"

	"proofpot/rig/record"
)

// Whatever the length of a record, its columns hold no more than this.
func TestColumnsOfALongRecordStaySmall(t *testing.T) {
	x, s := &table{thin: thinning{rest: -2 * calmAfter}}, series{} // nothing happens: all of it is calm
	const n = 3_000_000
	for i := range n {
		at := float64(i) / 10
		x.addPressure("p1", at, 1e5+at)
		s.add(at, at)
	}
	s.flush()
	x.pressuresEnd()
	c := x.chambers[0]
	if len(c.t) > mostPressures || cap(c.t) > mostPressures || len(s.t) > mostSlow || cap(s.t) > mostSlow {
		t.Fatalf("%d pressures (room for %d), %d slow readings (room for %d)", len(c.t), cap(c.t), len(s.t), cap(s.t))
	}
	if len(c.t) < mostPressures/3 || len(s.t) < mostSlow/3 {
		t.Fatalf("only %d pressures and %d slow readings are left", len(c.t), len(s.t))
	}
	for i := range c.t {
		if c.p[i] != 1e5+c.t[i] || i > 1 && i < len(c.t)-heldBack && math.Abs(c.t[i]-2*c.t[i-1]+c.t[i-2]) > 1e-6 {
			t.Fatalf("pressure %d is %v of %v s", i, c.p[i], c.t[i])
		}
	}
	for i := range s.t {
		if math.Abs(float64(s.v[i])-s.t[i]) > 0.05 {
			t.Fatalf("mean %d is %v at %v s", i, s.v[i], s.t[i])
		}
	}
	if end := float64(n) / 10; c.t[len(c.t)-1] < end-2 || s.t[len(s.t)-1] < end-2*s.width {
		t.Fatalf("they end at %v s and %v s of %v s", c.t[len(c.t)-1], s.t[len(s.t)-1], end)
	}
}

// Of a soak of some weeks every reading of what lasts minutes is kept, and of the calm
// hours some a minute; a night is kept whole.
func TestWhereSomethingHappensEveryReadingIsKept(t *testing.T) {
	const hz, wets = 10, 20*86_400*10 + 1234
	x := &table{thin: thinning{rest: math.Inf(1)}}
	days := 30
	events := map[int]func(float64){
		100:             func(t float64) { x.enters("ramp", t) },
		100 + 1800*hz:   func(t float64) { x.enters("settle", t) }, // a slow ramp, half an hour
		2*86_400*hz + 7: x.happens,
		wets:            x.happens,
	}
	for i := range days * 86_400 * hz {
		at := float64(i) / hz
		if f := events[i]; f != nil {
			f(at)
		}
		x.addPressure("p1", at, at)
		if i%1000 != 999 { // the other transducer misses some
			x.addPressure("p2", at, at)
		}
		x.endS = at
	}
	x.pressuresEnd()
	a, b := &x.chambers[0], &x.chambers[1]
	if len(a.t) > mostPressures || len(b.t) > mostPressures {
		t.Fatalf("%d and %d are kept", len(a.t), len(b.t))
	}
	for at := range events {
		from, to := float64(at-200)/hz, float64(at)/hz+500
		lo, hi := between(a.t, max(from, 0), to)
		if want := int((to - max(from, 0)) * hz); hi-lo < want-2 {
			t.Errorf("about %d s: %d of %d", at/hz, hi-lo, want)
		}
	}
	by := x.pace(a)
	if math.Abs(by.dt-0.1) > 1e-6 || by.calmDT < 1 || by.calmDT > 30 {
		t.Errorf("%v s, and %v s in calm times", by.dt, by.calmDT)
	}
	in := map[float64]bool{}
	for _, at := range a.t {
		in[at] = true
	}
	together := 0
	for _, at := range b.t {
		if in[at] {
			together++
		}
	}
	if together < len(a.t)*98/100 {
		t.Errorf("only %d of %d stay together", together, len(a.t))
	}
	if g := findGaps(&signal{t: a.t, p: a.p, spike: make([]bool, len(a.t)), dt: by.dt, calm: by.calm, calmDT: by.calmDT}); g != nil {
		t.Errorf("thinned, it has gaps: %v", g[0])
	}
}

// A chamber that is never left alone fills the columns too: then all of it is thinned.
func TestACampaignOfRampsStaysSmallToo(t *testing.T) {
	x := &table{thin: thinning{rest: math.Inf(1)}}
	for i := range 4_000_000 {
		at := float64(i) / 10
		if i%3000 == 0 {
			x.enters([]string{"ramp", "hold"}[i/3000%2], at)
		}
		x.addPressure("p1", at, at)
	}
	x.pressuresEnd()
	c := &x.chambers[0]
	if n := len(c.t); n > mostPressures || cap(c.t) > mostPressures || n < mostPressures/3 {
		t.Fatalf("%d are kept, with room for %d", n, cap(c.t))
	}
	for i := 1; i < len(c.t)-1; i++ {
		if d := c.t[i] - c.t[i-1]; d > 1.7 {
			t.Fatalf("%v s from %v s", d, c.t[i])
		}
	}
}

// A thermometer that speaks each second, or seldom, is read for as long, and keeps no more.
func TestSlowSensorsThatSpeakSeldomStaySmallToo(t *testing.T) {
	for _, every := range []float64{0.5, 1, 7, 60} {
		var s series
		for i := range 5 * mostSlow {
			s.add(every*float64(i), float64(i))
		}
		s.flush()
		if len(s.t) > mostSlow || cap(s.t) > mostSlow || len(s.t) < mostSlow/3 {
			t.Errorf("a reading each %v s: %d are kept, with room for %d", every, len(s.t), cap(s.t))
		}
		if first, last := s.t[0], s.t[len(s.t)-1]; first > s.width || every*5*mostSlow-last > 2*s.width {
			t.Errorf("a reading each %v s: they reach from %v to %v s", every, first, last)
		}
	}
}

// soak gives the lines of a soak at 10 Hz without their text: a ramp of ten
// minutes, a leak from then on, and a loss at once in the ramp where lost is set.
type soak struct {
	hours, leakPaPerH, lossPa float64
	i                         int64
	done                      bool
	dice                      *rand.Rand
}

func (d *soak) Next(l *record.Line) error {
	l.Clear()
	t := int64(1773476102e9) + d.i/2*1e8
	s := float64(d.i/2) / 10
	if d.done {
		return io.EOF
	}
	l.TimeNS, l.Measurement, l.Sensor = t, record.Chamber, "p1"
	if s > 3600*d.hours {
		l.Measurement, l.Event, d.done = record.RunEvent, "end", true
		return nil
	}
	d.i++
	switch d.i {
	case 1:
		l.Measurement, l.Valve, l.Open, l.HasOpen = record.Valve, "fill", true, true
		return nil
	case 2, 12_001, 24_001:
		l.Measurement, l.Kind, l.Index, l.Name, l.DepthM, l.PressurePa = record.Stage, map[int64]string{2: "ramp", 12_001: "settle", 24_001: "hold"}[d.i], 0, "soak", 30, 401325
		return nil
	case 12_002:
		l.Measurement, l.Valve, l.HasOpen = record.Valve, "fill", true
		return nil
	}
	if d.i%2 == 0 {
		if d.i%200 == 0 {
			l.Measurement, l.Sensor, l.TemperatureC = record.Room, "r1", 20
		} else {
			l.Sensor, l.WaterC, l.GasC = "t1", 20+0.005*d.dice.NormFloat64(), 20+0.02*d.dice.NormFloat64()
		}
		return nil
	}
	p := min(101325+500*s, 401325)
	if s > 400 {
		p -= d.lossPa
	}
	p -= d.leakPaPerH * max(0, s-600) / 3600
	l.PressurePa = p + 20*d.dice.NormFloat64()
	return nil
}

// A soak of thirty hours is read at a quarter of its rate: what leaked, and what was
// lost at once, is found all the same.
func TestASoakOfThirtyHoursIsJudgedAsANightIs(t *testing.T) {
	if testing.Short() {
		t.Skip("three times two million lines")
	}
	run := nightRun()
	run.Profile.Stages[0].HoldS = 30*3600 - 1200
	tight, err := Analyse(run, "tight", &soak{hours: 30, dice: rand.New(rand.NewPCG(1, 2))})
	if err != nil {
		t.Fatal(err)
	}
	if v := tight.Verdict; v.Verdict != Pass || v.ProvedDepthM != 30 {
		t.Errorf("a tight unit: %s %v", v.Verdict, v.Reasons)
	}
	// 300 ml of gas at 4 bar and 2 ml/bar of stiffness: some 1.5 ml/h.
	seep, err := Analyse(run, "seep", &soak{hours: 30, leakPaPerH: 2000, dice: rand.New(rand.NewPCG(3, 4))})
	if err != nil {
		t.Fatal(err)
	}
	if v := seep.Verdict; v.Verdict != Fail {
		t.Errorf("a leak of 2 kPa/h: %s %v %+v", v.Verdict, v.Reasons, v.Holds[0].LeakMLPerH)
	}
	loss, err := Analyse(run, "loss", &soak{hours: 30, lossPa: 2000, dice: rand.New(rand.NewPCG(5, 6))})
	if err != nil {
		t.Fatal(err)
	}
	f := loss.Verdict.FirstFailure
	if f == nil || f.Mode != Collapse {
		t.Fatalf("a loss of 2 kPa at once: %+v, %v", f, loss.Verdict.Reasons)
	}
	if at := f.Time.Sub(loss.Verdict.Holds[0].Start).Seconds(); math.Abs(at+800) > 0.45 {
		t.Errorf("found %v s before the hold, where it was 800", -at)
	}
}

// Of five days at 10 Hz one reading in sixteen is kept; the ramp is read whole all the
// same: a tight unit is no failure, and a loss in the ramp is timed as in a night.
func TestTheRampOfFiveDaysIsReadWhole(t *testing.T) {
	if testing.Short() {
		t.Skip("twice nine million lines")
	}
	run := nightRun()
	run.Profile.Stages[0].HoldS = 120*3600 - 1200
	tight, err := Analyse(run, "tight", &soak{hours: 120, dice: rand.New(rand.NewPCG(7, 8))})
	if err != nil {
		t.Fatal(err)
	}
	if v := tight.Verdict; v.Verdict != Pass {
		t.Errorf("a tight unit: %s %v", v.Verdict, v.Reasons)
	}
	loss, err := Analyse(run, "loss", &soak{hours: 120, lossPa: 400, dice: rand.New(rand.NewPCG(9, 10))})
	if err != nil {
		t.Fatal(err)
	}
	f := loss.Verdict.FirstFailure
	if f == nil || f.Mode != Collapse {
		t.Fatalf("a loss of 400 Pa at once: %+v, %v", f, loss.Verdict.Reasons)
	}
	if at := f.Time.Sub(loss.Verdict.Holds[0].Start).Seconds(); math.Abs(at+800) > 0.15 {
		t.Errorf("found %v s before the hold, where it was 800", -at)
	}
}
