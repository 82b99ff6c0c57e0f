package analysis_test

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"

	"proofpot/analysis"
	"proofpot/profiles"
	"proofpot/rig/record"
)

// What the physics allows, beside what is reached on records of the simulated bench,
// by the analysis as it is. PROOFPOT_BOUNDS says how many records a row, 8 else.

// Of the built-in bench and unit, whose records these are.
const (
	chamberNoise = 42.4    // Pa of a reading, 40 and a resolution of 10/√12 and rounding
	chamberZero  = 87.0    // Pa, a zero within half the class of 300 Pa either way, rectangular
	chamberEvery = 0.5     // s
	insideNoise  = 0.0157  // ml of a reading: 3 Pa and a step of 1 Pa of 520 ml at 1013 hPa
	insideEvery  = 2.0     // s
	metrePa      = 10_050. // Pa, of sea water
)

// reached collects what the estimates miss.
type reached struct{ miss []float64 }

func (r *reached) rms() float64 {
	s := 0.0
	for _, v := range r.miss {
		s += v * v / float64(len(r.miss))
	}
	return math.Sqrt(s)
}

func (r *reached) median() float64 {
	v := slices.Clone(r.miss)
	for i := range v {
		v[i] = math.Abs(v[i])
	}
	slices.Sort(v)
	return v[len(v)/2]
}

// slopeBound is the Cramér–Rao bound of a slope through n means of noise each, over a
// span of h hours, with a random walk and a prior of its own (Kay, Fundamentals of
// Statistical Signal Processing I: Estimation Theory, 3.11 and 10.8; Van Trees,
// Detection, Estimation, and Modulation Theory I, 2.4.3; both from memory).
func slopeBound(n int, noise, walk, h, prior float64) float64 {
	cov, x := mat.NewSymDense(n, nil), mat.NewDense(n, 2, nil)
	for i := range n {
		t := (float64(i) + 0.5) / float64(n) * h
		x.SetRow(i, []float64{1, t})
		for j := i; j < n; j++ {
			c := walk * walk * t
			if i == j {
				c += noise * noise
			}
			cov.SetSym(i, j, c)
		}
	}
	return math.Hypot(bound(x, cov, 1), prior)
}

// bound is the square root of the inverse Fisher information of one unknown: the rows
// of x are how each reading goes with the unknowns.
func bound(x *mat.Dense, cov *mat.SymDense, of int) float64 {
	var chol mat.Cholesky
	var right, info, inverse mat.Dense
	if !chol.Factorize(cov) || chol.SolveTo(&right, x) != nil {
		return math.NaN()
	}
	info.Mul(x.T(), &right)
	if err := inverse.Inverse(&info); err != nil && !errors.As(err, new(mat.Condition)) {
		return math.NaN()
	}
	return math.Sqrt(inverse.At(of, of))
}

// changeBound is the bound of Ziv and Zakai (IEEE Trans. Inf. Theory 15 (1969) 386,
// from memory) of the time of a loss that falls anywhere: ∫ h P(h) dh, with P(h) the
// least error of telling two times h apart, of which the readings between them
// decide. Cramér and Rao's does not exist: the readings do not change evenly with the
// time (Hinkley, Biometrika 57 (1970) 1, from memory, has what is lost by it).
func changeBound(loss, noise, every float64) float64 {
	sum, step := 0.0, every/200
	for h := step / 2; h < 40*every; h += step {
		n := math.Floor(h / every)
		more := h/every - n // how likely one more reading lies between
		tell := func(n float64) float64 { return 0.5 * math.Erfc(loss*math.Sqrt(n)/(2*noise)/math.Sqrt2) }
		sum += h * step * ((1-more)*tell(n) + more*tell(n+1))
	}
	return math.Sqrt(sum)
}

// kinkBound is the Cramér–Rao bound of the time, s, at which an inflow, ml/h, begins
// that the pressure inside shows: level, slope before and size of the flow are not
// known, the void is squeezed with a doubt, and the readings wander.
func kinkBound(flow, before, after float64) float64 {
	n := int((before + after) / insideEvery)
	x, cov := mat.NewDense(n, 4, nil), mat.NewSymDense(n, nil)
	for i := range n {
		t := (float64(i)+0.5)*insideEvery - before
		since := max(t, 0)
		on := 0.0
		if t > 0 {
			on = 1
		}
		x.SetRow(i, []float64{-flow / 3600 * on, 1, t / 60, since / 60})
		for j := i; j < n; j++ {
			const walk = 1.5 * 520 / 101325 // ml/√h
			c := walk * walk * (t + before) / 3600
			if i == j {
				c += insideNoise * insideNoise
			}
			cov.SetSym(i, j, c)
		}
	}
	return bound(x, cov, 0)
}

// bracketBound is the best that can be said of where in a bracket a leak began whose
// inflow is not known, from when a wet probe spoke or from the leak of the hold
// behind: the posterior by simulation. Its median has the least median error, its mean
// the least root mean square; both as shares of the bracket.
func bracketBound(r *rand.Rand, rampS, dwellS float64) (median, rms float64) {
	type draw struct {
		share, wet, leak float64
	}
	one := func() draw {
		d := draw{share: r.Float64(), wet: math.Inf(1)}
		q := 2 * math.Exp(r.Float64()*math.Log(40)) / 3600 // ml/s
		need := 0.4 * (1 + 0.3*(2*r.Float64()-1))          // ml, as the simulated probes
		if w := d.share*rampS + need/q; w < rampS+dwellS {
			d.wet = w
		}
		d.leak = q * 3600 * (1 + 0.06*r.NormFloat64()) // the sheet's volume is no better known
		return d
	}
	prior := make([]draw, 20_000)
	for i := range prior {
		prior[i] = one()
	}
	var medians, means reached
	for range 400 {
		d := one()
		var near []float64
		for _, p := range prior {
			if math.IsInf(d.wet, 1) == math.IsInf(p.wet, 1) && (math.IsInf(d.wet, 1) || math.Abs(p.wet-d.wet) < 4) &&
				(d.wet < rampS+180 || math.Abs(p.leak/d.leak-1) < 0.06) { // wet before the hold: nothing measured the leak
				near = append(near, p.share)
			}
		}
		if len(near) > 10 {
			slices.Sort(near)
			mean := 0.0
			for _, v := range near {
				mean += v / float64(len(near))
			}
			medians.miss, means.miss = append(medians.miss, near[len(near)/2]-d.share), append(means.miss, mean-d.share)
		}
	}
	return medians.median(), means.rms()
}

// slopeAt is the slope of the chamber's pressure in the seconds before a time, Pa/s.
func (s simulated) slopeAt(t testing.TB, atNS int64) float64 {
	var l record.Line
	var sx, sy, sxx, sxy, n float64
	for r := record.NewReader(bytes.NewReader(s.record)); ; {
		if err := r.Next(&l); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		if d := float64(l.TimeNS-atNS) / 1e9; l.Measurement == record.Chamber && !math.IsNaN(l.PressurePa) && d > -8 && d < 0 {
			sx, sy, sxx, sxy, n = sx+d, sy+l.PressurePa, sxx+d*d, sxy+d*l.PressurePa, n+1
		}
	}
	return (n*sxy - sx*sy) / (n*sxx - sx*sx)
}

const (
	boundsFrom = "<!-- bounds: written by PROOFPOT_BOUNDS=100 go test -run Bounds -update -->\n"
	boundsTo   = "<!-- end of bounds -->"
)

func TestBoundsAndWhatIsReached(t *testing.T) {
	each := uint64(8)
	if testing.Short() {
		each = 4
	}
	if n, err := strconv.ParseUint(os.Getenv("PROOFPOT_BOUNDS"), 10, 64); err == nil {
		each = n
	}
	var table strings.Builder
	table.WriteString("| | bound | reached | by |\n|---|---|---|---|\n")
	row := func(what, bound, reached, by string) {
		fmt.Fprintf(&table, "| %s | %s | %s | %s |\n", what, bound, reached, by)
	}
	// No estimator is better than its bound; of few records the root mean square may be.
	slack := 1 - 2/math.Sqrt(2*float64(each))
	column, err := profiles.NewColumn(profiles.Water{Model: "sea", SalinityGKg: 35, TemperatureC: 12, LatitudeDeg: 58})
	if err != nil {
		t.Fatal(err)
	}

	// (a) The leak of the proof hold: 300 ml of gas, 15 minutes and the settling before.
	var leak reached
	for seed := range each {
		s := simulate(t, "proof-30m-sea", "", 7000+seed, pots["no sensor inside"])
		h := s.analyse(t).Verdict.Holds[5]
		leak.miss = append(leak.miss, h.LeakMLPerH.Estimate-s.between(h.Start, h.End))
	}
	gauge := column.GaugePa(37.5) / 1e5
	perPa := (304/(1.013+gauge) + 1.2) / 1e5 // ml
	const h = 1200.0 / 3600
	n := 1200 / chamberEvery
	white := chamberNoise * perPa * math.Sqrt(12) / (h * math.Sqrt(n))
	known := slopeBound(60, chamberNoise*perPa/math.Sqrt(n/60), 4*perPa, h, 0.012*gauge)
	row("leak in a hold of 15 min at 37.5 m, 300 ml cushion, RMS", fmt.Sprintf("%.4f ml/h by noise alone; %.3f ml/h with wander and the doubt of the blank", white, known),
		fmt.Sprintf("%.3f ml/h", leak.rms()), "Cramér–Rao, Van Trees")
	if leak.rms() < known*slack {
		t.Errorf("the leak: RMS %.4f ml/h, below the bound %.4f", leak.rms(), known)
	}

	// (b) A sudden loss in a ramp.
	for _, ml := range []float64{2, 8} {
		var sudden reached
		square := 0.0
		r := rand.New(rand.NewPCG(5, uint64(ml)))
		for seed := range each {
			depth := 8 + 21*r.Float64()
			s := simulate(t, "proof-30m-sea", fmt.Sprintf("collapse at %.2f m, %g ml", depth, ml), 8000+seed, pots["no sensor inside"])
			f := s.analyse(t).Verdict.FirstFailure
			if f == nil {
				continue
			}
			truth := s.plan.DepthM(s.plan.SealedPa + s.truth.OnsetPa)
			sudden.miss = append(sudden.miss, f.DepthM-truth)
			slope := max(s.slopeAt(t, f.Time.UnixNano()), 0)
			pa := s.plan.SealedPa + s.truth.OnsetPa
			loss := ml / (304/pa + 1.2e-5)
			square += math.Pow(slope*changeBound(loss, chamberNoise, chamberEvery)/metrePa, 2) + math.Pow(math.Hypot(chamberZero, chamberNoise/2)/metrePa, 2)
		}
		if len(sudden.miss) == 0 {
			t.Fatalf("no collapse of %g ml was found", ml)
		}
		b := math.Sqrt(square / float64(len(sudden.miss)))
		row(fmt.Sprintf("depth of a sudden loss of %g ml in a ramp, read each %g s, RMS (median)", ml, chamberEvery), fmt.Sprintf("%.3f m", b),
			fmt.Sprintf("%.3f m (%.3f m)", sudden.rms(), sudden.median()), "Ziv–Zakai, and the transducer's zero")
		if sudden.rms() < b*slack {
			t.Errorf("a loss of %g ml: RMS %.4f m, below the bound %.4f m", ml, sudden.rms(), b)
		}
	}
	// In a hold the depth does not change: what is left is the level, and the zero.
	var held reached
	for seed := range each {
		s := simulate(t, "proof-30m-sea", "collapse at 29 m, 6 ml after 5 min", 8500+seed, pots["no sensor inside"])
		if f := s.analyse(t).Verdict.FirstFailure; f != nil {
			held.miss = append(held.miss, f.DepthM-s.plan.DepthM(s.plan.SealedPa+s.truth.OnsetPa))
		}
	}
	if len(held.miss) < int(each) {
		t.Errorf("%d of %d losses in a hold were found", len(held.miss), each)
	}
	b := math.Hypot(2*chamberNoise/math.Sqrt(16), chamberZero) / metrePa
	row("depth of a sudden loss of 6 ml in a hold, RMS (median)", fmt.Sprintf("%.4f m", b), fmt.Sprintf("%.4f m (%.4f m)", held.rms(), held.median()),
		"Cramér–Rao of the end of a line through 16 readings, and the zero")
	if held.rms() < b*slack {
		t.Errorf("a loss in a hold: RMS %.4f m, below the bound %.4f m", held.rms(), b)
	}

	// (c) A slow onset, with the sensor inside; (d) without.
	for _, c := range []struct {
		name, pot string
		inside    bool
	}{{"with a sensor inside", "valves, 300 ml cushion", true}, {"without one", "no sensor inside", false}} {
		var slow reached
		square := 0.0
		r := rand.New(rand.NewPCG(6, 7))
		for seed := range each {
			depth := 8 + 21*r.Float64()
			q := 2 * math.Exp(r.Float64()*math.Log(40))
			s := simulate(t, "proof-30m-sea", fmt.Sprintf("seep at %.2f m, %.2f ml/h", depth, q), 9000+seed, pots[c.pot])
			f := s.analyse(t).Verdict.FirstFailure
			if f == nil {
				continue
			}
			truth := s.plan.DepthM(s.plan.SealedPa + s.truth.OnsetPa)
			slow.miss = append(slow.miss, (f.DepthM-truth)/7.5)
			// 45 s of ramp to a rung, and three minutes of settling behind.
			rate := 10.0 / 60 // m/s
			if b := kinkBound(q, 120, 150) * rate / 7.5; !math.IsNaN(b) {
				square += math.Pow(min(b, 1/math.Sqrt(12)), 2)
			}
		}
		b := math.Sqrt(square / float64(len(slow.miss)))
		text, by := fmt.Sprintf("%.3f", b), "Cramér–Rao of a kink"
		if !c.inside {
			var m float64
			m, b = bracketBound(r, 45, 780)
			text, by = fmt.Sprintf("%.3f (%.3f)", b, m), "posterior by simulation: 2 to 80 ml/h, a probe that needs 0.3 to 0.5 ml"
		}
		row("depth of a slow onset in a ramp, "+c.name+", RMS (median), share of the bracket", text, fmt.Sprintf("%.3f (%.3f)", slow.rms(), slow.median()), by)
		if slow.rms() < b*slack {
			t.Errorf("a slow onset %s: RMS %.4f of the bracket, below the bound %.4f", c.name, slow.rms(), b)
		}
	}
	t.Logf("\n%s", table.String())
	if f := flag.Lookup("update"); f != nil && f.Value.String() == "true" && each >= 100 {
		analysis.IntoReadme(t, boundsFrom, table.String(), boundsTo)
	}
}
