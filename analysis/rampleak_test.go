package analysis

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// letIn is a ramp of two minutes at 10 m/min into which a leak of k ml/h/Pa
// begins at a time, s; its inlet makes up for it within 9 s.
func letIn(k, begins float64) *analysis {
	r := rand.New(rand.NewPCG(5, 6))
	a := &analysis{
		s: &signal{dt: 0.5, noise: 60}, v: vessel{gasML: 300, stiff: 1e-5, roomPa: 1e5}, sealed: 1e5,
		x:      &table{fill: []interval{{0, 120}}},
		stages: []*stage{{ramp: interval{0, 120}, settle: never, hold: never}},
	}
	behind := 0.0
	for t := 0.0; t <= 120; t += 0.5 {
		p := 1e5 + 1667*t + 300*math.Exp(-t/8) - behind
		if t >= begins {
			behind += 0.5 * (k*(p-1e5)/3600/a.v.compliance(p, 0) - behind/9)
		}
		a.s.t, a.s.p, a.s.spike = append(a.s.t, t), append(a.s.p, p+60*r.NormFloat64()), append(a.s.spike, false)
	}
	return a
}

func TestALeakThatBeginsInARampIsTimedByItsBend(t *testing.T) {
	const k, begins = 600e-5, 60.0
	r := letIn(k, begins).rampAt(begins)
	at, best := math.NaN(), math.Inf(-1)
	for x := 5.0; x < 115; x += 0.25 {
		if l := r.says(x, k); l > best {
			at, best = x, l
		}
	}
	if math.Abs(at-begins) > 1.5 || best < 7 {
		t.Errorf("likeliest at %.2f s by %.1f, want 60 s", at, best)
	}
	for _, x := range []float64{45, 75} {
		if d := best - r.says(x, k); d < 6 {
			t.Errorf("at %.0f s only %.1f less likely", x, d)
		}
	}
}

func TestAnEvenRampSpeaksAgainstALargeLeakAndNotASmallOne(t *testing.T) {
	r := letIn(0, math.Inf(1)).rampAt(60)
	if l := r.says(60, 600e-5); l > -5 {
		t.Errorf("a large leak: %.1f, want plainly less likely than none", l)
	}
	if l := r.says(60, 3e-5); math.Abs(l) > 0.5 {
		t.Errorf("a small leak: %.1f, want undecided", l)
	}
}

func TestAnInletThatFindsItsRateLateLosesNothing(t *testing.T) {
	a := &analysis{s: &signal{dt: 1}, x: &table{fill: []interval{{0, 60}, {400, 460}, {900, 960}}}}
	habit := []jump{{i: 1, t0: 20, drop: 400, inletted: true}, {i: 2, t0: 420, drop: 500, inletted: true}, {i: 3, t0: 930, drop: 450, inletted: true}}
	left := slices.DeleteFunc(slices.Clone(habit), a.inletsHabit(habit))
	if len(left) != 1 || left[0].i != 3 {
		t.Errorf("left %+v, want the one that no other ramp shows", left)
	}
}

func TestAVoidThatLosesPressureShowsNoIngress(t *testing.T) {
	a := letIn(0, math.Inf(1))
	a.in = &void{freeML: 500}
	var x, y []float64
	for i := range 200 {
		at := float64(i) * 0.6
		x, y = append(x, at), append(y, -0.002*at*at)
	}
	a.in.t, a.in.bad = x, make([]bool, len(x))
	a.in.pa = make([]float64, len(x))
	for i := range a.in.pa {
		a.in.pa[i] = 1e5
	}
	if at, gain := a.coarse(x, y, 0.05, 1e-5, 110); !math.IsNaN(at) {
		t.Errorf("an ingress from %.0f s (gain %.0f) in a void whose air expands", at, gain)
	}
	for i := range y {
		y[i] = -y[i]
	}
	if at, _ := a.coarse(x, y, 0.05, 1e-5, 110); math.IsNaN(at) {
		t.Error("no ingress in a void whose air is squeezed")
	}
}
