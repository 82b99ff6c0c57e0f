package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"unicode"

	"proofpot/profiles/assumed"
	"proofpot/profiles/water"
)

// facts are the figures of one hold that explanations are weighed with; NaN
// where the record does not say.
type facts struct {
	a       *analysis
	st      *stage
	e       *estimate
	w       interval // the hold
	hours   float64
	limit   float64
	low     float64 // bounds of the leak, ml/h
	high    float64
	z       float64 // leak in units of its uncertainty
	fallPa  float64 // Pa, by which the pressure fell in the hold
	noise   float64 // Pa, of that
	comp    float64 // ml/Pa
	gasPa   float64 // Pa of the fall that cooling of the gas makes
	gasK    float64 // K, by which it cooled
	gasTau  float64 // s
	warmPa  float64 // Pa of the fall that water and walls make by their temperature
	warmK   float64 // K, by which they warmed
	baroPa  float64 // Pa, by which the barometer fell
	bench   float64 // ml/h, the bench's own leak, with its standard uncertainty
	benchU  float64
	benchPa float64 // Pa of the fall that it makes
	drift   float64 // ml/h that a straying transducer may feign

	later   bool // the failure began after the hold
	topped  bool // the supply was let in during the hold
	wet     bool
	inSays  int     // the inside pressure: 1 something comes in, −1 nothing does, 0 silent or undecided
	shows   int     // the humidity, likewise
	vapour0 float64 // g/m³ inside, at the start and the end of the record's dwells
	vapour1 float64
	rh0     float64
	rh1     float64
	in0     float64 // °C inside
	in1     float64
}

// thought is an explanation with its weight, which only orders them.
type thought struct {
	Explanation
	weight float64
	keep   bool // also where it is ruled out and the hold is in no doubt
}

func (t *thought) pro(w float64, format string, args ...any) {
	t.weight += w
	t.For = append(t.For, sentence(format, args...))
}

func (t *thought) con(w float64, format string, args ...any) {
	t.weight -= w
	t.Against = append(t.Against, sentence(format, args...))
}

// sentence writes numbers below zero with a minus sign, as the certificate does.
func sentence(format string, args ...any) string {
	r := []rune(fmt.Sprintf(format, args...))
	for i, c := range r {
		if c == '-' && i+1 < len(r) && unicode.IsDigit(r[i+1]) && (i == 0 || r[i-1] == ' ' || r[i-1] == '(') {
			r[i] = '−'
		}
	}
	return string(r)
}

// explain lists what may stand behind whatever was seen, likeliest first: those
// that the data leave standing before those that they rule out. The weights that
// order them are rough and are not printed; the verdict does not rest on them.
func (a *analysis) explain(r *Result, st *stage) []Explanation {
	f := a.gather(r, st)
	var list []thought
	add := func(t *thought) {
		if t != nil && len(t.For)+len(t.Against) > 0 {
			list = append(list, *t)
		}
	}
	if st != nil {
		add(f.intoUnit())
		add(f.cooling())
		add(f.warming())
		add(f.benchLeak())
		add(f.dissolving())
		add(f.creep())
		add(f.absorption())
		add(f.barometer())
		add(f.valvePassing())
		add(f.sensorDrift())
	}
	if len(a.steps) > 0 {
		add(f.opened())
		add(f.jumped())
	}
	if a.in != nil && a.in.mg != nil && !math.IsNaN(f.vapour0) {
		add(f.vapourIn())
		add(f.wetPrint())
		add(f.condensation())
	}
	if a.in != nil && a.in.pa != nil {
		add(f.squeeze())
	}
	if len(a.x.wets) > 0 {
		add(f.wetFalse())
	}
	if len(a.gaps) > 0 {
		add(f.interruption())
	}
	slices.SortStableFunc(list, func(p, q thought) int {
		if p.Holds != q.Holds {
			if p.Holds {
				return -1
			}
			return 1
		}
		return cmp.Compare(q.weight, p.weight)
	})
	// Where nothing is in doubt, what the data rule out need not be gone through;
	// and nowhere what nothing speaks for.
	clear := st != nil && !f.doubtful()
	out := []Explanation{}
	for i := range list {
		if len(out) < mostCauses && (list[i].Holds || list[i].keep || !clear && len(list[i].For) > 0) {
			out = append(out, list[i].Explanation)
		}
	}
	return out
}

const mostCauses = 8

// gather takes the figures out of the record.
func (a *analysis) gather(r *Result, st *stage) *facts {
	nan := math.NaN()
	f := &facts{a: a, st: st, limit: a.limit(), gasPa: nan, gasK: nan, gasTau: nan, warmPa: nan, warmK: nan, baroPa: nan, drift: nan,
		vapour0: nan, vapour1: nan, rh0: nan, rh1: nan, in0: nan, in1: nan}
	f.wet = a.firstWet() != nil
	f.inside()
	if st == nil {
		return f
	}
	e := st.both
	f.e, f.w, f.hours = e, st.hold, st.hold.length()/3600
	i := e.interval()
	f.low, f.high, f.z = i.Low, i.High, e.value/e.u
	p0, t0, n0 := a.ends(st.hold, false)
	p1, t1, n1 := a.ends(st.hold, true)
	f.fallPa = p0 - p1
	f.noise = a.s.noise * math.Sqrt(1/n0+1/n1)
	f.comp = a.compliance((st.hold.start + st.hold.end) / 2)
	gauge := (st.meanPa - a.v.roomPa)
	f.bench, f.benchU = a.v.blank*gauge, a.v.blankSD*math.Abs(gauge)
	if ff := r.Verdict.FirstFailure; ff != nil {
		f.later = ff.Time.After(a.x.at(st.hold.end))
	}
	for _, o := range a.x.fill {
		f.topped = f.topped || o.start > st.hold.start && o.start < st.hold.end
	}
	f.benchPa = f.bench * f.hours / f.comp
	volume := (f.comp - a.v.stiff) * st.meanPa
	if k0, k1, ok := a.gasEnds(t0, t1); ok {
		f.gasK = k0 - k1
		f.gasPa = volume / k0 * f.gasK / f.comp
	}
	for _, part := range st.closed {
		if a.s.gas != nil {
			if c := fitCooling(a.s, part, a.base); c.fitted {
				f.gasTau = c.tau
			}
			break
		}
	}
	if math.IsNaN(f.gasTau) && st.chamber != nil {
		f.gasTau = st.chamber.tau
	}
	if a.base != nil && !a.v.gas {
		c0, c1 := a.base.at(t0), a.base.at(t1)
		f.warmK = c1 - c0
		// Walls that grow make room, water that grows takes it.
		f.warmPa = (assumed.WallGrowth*a.v.chamberML*f.warmK - a.v.waterML*waterExpansion(c0, c1)) / f.comp
	}
	if b0, ok := nearest(&a.x.roomPa, t0); ok {
		if b1, ok := nearest(&a.x.roomPa, t1); ok {
			f.baroPa = b0 - b1
		}
	}
	for _, b := range e.budget {
		if len(b.Source) >= 5 && b.Source[:5] == "drift" {
			f.drift = b.MLPerH
		}
	}
	return f
}

// ends is the mean pressure of the first or the last twentieth of a hold, with
// the time and the number of readings that it is of.
func (a *analysis) ends(w interval, last bool) (p, t, n float64) {
	part := interval{w.start, w.start + w.length()/20}
	if last {
		part = interval{w.end - w.length()/20, w.end}
	}
	lo, hi := between(a.s.t, part.start, part.end)
	for i := lo; i < hi; i++ {
		if !a.s.spike[i] {
			p += a.s.p[i]
			t += a.s.t[i]
			n++
		}
	}
	if n == 0 {
		t = (part.start + part.end) / 2
		return a.pressureAt(t), t, 1
	}
	return p / n, t / n, n
}

// gasEnds is the gas temperature about two times, K.
func (a *analysis) gasEnds(t0, t1 float64) (k0, k1 float64, ok bool) {
	if a.s.gas == nil {
		return 0, 0, false
	}
	about := func(t float64) float64 {
		w := max(5, 5*a.s.dt)
		lo, hi := between(a.x.gas.t, t-w, t+w)
		sum := 0.0
		for _, v := range a.x.gas.v[lo:hi] {
			sum += float64(v)
		}
		return sum/float64(hi-lo) + water.ZeroC
	}
	k0, k1 = about(t0), about(t1)
	return k0, k1, !math.IsNaN(k0) && !math.IsNaN(k1)
}

// nearest is the reading nearest to a time, within ten minutes.
func nearest(s *series, t float64) (float64, bool) {
	lo, hi := s.between(t-600, t+600)
	best, at := math.Inf(1), 0
	for i := lo; i < hi; i++ {
		if d := math.Abs(s.t[i] - t); d < best {
			best, at = d, i
		}
	}
	if math.IsInf(best, 1) {
		return 0, false
	}
	return float64(s.v[at]), true
}

// inside says what the sensors in the unit make of it.
func (f *facts) inside() {
	a := f.a
	if a.in == nil {
		return
	}
	if f.st != nil || a.in.pa != nil {
		clear := 0
		for _, st := range a.stages {
			e := st.inside
			if e == nil {
				continue
			}
			if e.value > 4*e.u && e.value > 0.1*f.limit {
				f.inSays = 1
			}
			if e.interval().High < f.limit {
				clear++
			}
		}
		if f.inSays == 0 && clear > 0 {
			f.inSays = -1
		}
	}
	if a.damp != nil && !math.IsNaN(a.damp.u) {
		switch {
		case a.damp.satured || a.damp.rising && a.damp.gain > 100:
			f.shows = 1
		case !a.damp.rising:
			f.shows = -1
		}
	}
	from, to := math.NaN(), math.NaN()
	for _, st := range a.stages {
		if d := st.dwell(); d.real() {
			if math.IsNaN(from) {
				from = d.start
			}
			to = d.end
		}
	}
	if a.in.mg == nil || math.IsNaN(from) {
		return
	}
	at := func(a0, a1 float64) (g, rh, c float64) {
		lo, hi := f.a.x.insideRH.between(a0, a1)
		n := float64(hi - lo)
		for i := lo; i < hi; i++ {
			t := f.a.in.temp.at(f.a.x.insideRH.t[i])
			g += vapourGM3(float64(f.a.x.insideRH.v[i]), t) / n
			rh += float64(f.a.x.insideRH.v[i]) / n
			c += t / n
		}
		if n == 0 {
			return math.NaN(), math.NaN(), math.NaN()
		}
		return g, rh, c
	}
	w := max((to-from)/20, 30)
	f.vapour0, f.rh0, f.in0 = at(from, from+w)
	f.vapour1, f.rh1, f.in1 = at(to-w, to)
}
