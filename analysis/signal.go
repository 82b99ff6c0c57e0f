package analysis

import (
	"math"
	"slices"
)

// signal is the chamber's pressure made ready: one pressure a time, readings
// that are spikes marked, gas temperature beside it.
type signal struct {
	t, p   []float64 // s, Pa absolute
	gas    []float32 // °C, NaN where not read; nil where never read
	spike  []bool
	dt     float64 // s, median interval
	noise  float64 // Pa, standard deviation of one reading about its neighbours
	spikes int
	second float64   // Pa, wander of a second transducer against the first; NaN without one
	split  []float64 // s, where the two disagree
	calm   []bool    // thinned there, to a reading each calmDT; nil: nowhere
	calmDT float64   // s
}

func (s *signal) pace() pace { return pace{dt: s.dt, calmDT: s.calmDT, calm: s.calm} }

func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	s := slices.Clone(v)
	slices.Sort(s)
	n := len(s)
	if n%2 == 1 {
		return s[n/2]
	}
	return (s[n/2-1] + s[n/2]) / 2
}

// madSD is the standard deviation of a normal distribution with this median
// absolute value: 1.4826 times it (Rousseeuw & Croux, JASA 88 (1993) 1273).
func madSD(v []float64) float64 {
	a := make([]float64, len(v))
	for i, x := range v {
		a[i] = math.Abs(x)
	}
	return 1.4826 * median(a)
}

// whiteNoise estimates the standard deviation of white noise on a smooth signal
// from its second differences, which have √6 times it. Only evenly spaced
// readings count. The resolution of a transducer, q, adds q/√12.
func whiteNoise(t, v []float64, dt float64) float64 {
	step := max(1, len(v)/20000)
	var d []float64
	for i := 1; i+1 < len(v); i += step {
		if t[i]-t[i-1] < 1.5*dt && t[i+1]-t[i] < 1.5*dt {
			d = append(d, v[i+1]-2*v[i]+v[i-1])
		}
	}
	if len(d) < 8 {
		return math.NaN()
	}
	s := madSD(d) / math.Sqrt(6)
	// A coarse transducer can show the same figure for most of its readings: the
	// median then says nothing, and the mean of what is not wild says it.
	limit, sum, n := 6*math.Sqrt(6)*max(s, resolution(v)), 0.0, 0
	for _, x := range d {
		if math.Abs(x) <= limit {
			sum += x * x
			n++
		}
	}
	if n > 0 {
		s = max(s, math.Sqrt(sum/float64(n)/6))
	}
	return max(s, resolution(v)/math.Sqrt(12))
}

// resolution is the smallest step between differing readings.
func resolution(v []float64) float64 {
	q := math.Inf(1)
	step := max(1, len(v)/5000)
	for i := step; i < len(v); i += step {
		if d := math.Abs(v[i] - v[i-1]); d > 1e-6 && d < q {
			q = d
		}
	}
	if math.IsInf(q, 1) {
		return 0
	}
	return q
}

func medianStep(t []float64) float64 {
	if len(t) < 2 {
		return 1
	}
	step := max(1, len(t)/5000)
	var d []float64
	for i := 1; i < len(t); i += step {
		d = append(d, t[i]-t[i-1])
	}
	return max(median(d), 1e-3)
}

// spikeRun is the longest spike, in readings.
const spikeRun = 5

// offRamp says whether the pressure rises evenly before and after reading i, which
// lies d from the middle of its neighbours, but does not come back to where that
// rise would have brought it: a loss in a ramp, no spike.
func offRamp(p []float64, i int, noise, d float64) bool {
	if i < 2 || i+2 >= len(p) {
		return false
	}
	before, after := p[i-1]-p[i-2], p[i+2]-p[i+1]
	return min(before, after) > 4*noise && max(before, after) < 2*min(before, after) && math.Abs(p[i+1]-p[i-1]-before-after) > 0.3*math.Abs(d)
}

// onWay says whether reading i only goes on as the three before it rose: what
// comes back behind it was lost.
func onWay(p []float64, i int, noise, d float64) bool {
	if i < 3 {
		return false
	}
	now, last, first := p[i]-p[i-1], p[i-1]-p[i-2], p[i-2]-p[i-3]
	slack := 0.1*math.Abs(d) + 4*noise
	return last > 0.5*math.Abs(d) && math.Abs(now-last) < slack && math.Abs(last-first) < slack
}

// onLine says whether reading i, which lies d from the middle of its neighbours,
// stands alone off a straight line that three readings on one side of it and the
// next on the other make: no loss is made good within one reading.
func onLine(p []float64, i int, d float64) bool {
	for _, side := range []int{1, -1} {
		far := i + 3*side
		if far < 0 || far >= len(p) || i-side < 0 || i-side >= len(p) {
			continue
		}
		near, next := p[i+side], p[i+2*side]
		if math.Abs(p[far]-2*next+near) < 0.1*math.Abs(d) && math.Abs(p[i-side]-(near-2*(next-near))) < 0.1*math.Abs(d) {
			return true
		}
	}
	return false
}

// findSpikes marks readings that leave the line of their neighbours by a sharp
// edge and return to it by another within spikeRun readings. A step that stays,
// or that the supply slowly makes good, is no spike.
func findSpikes(t, p []float64, noise float64, by pace) []bool {
	spike := make([]bool, len(p))
	// A single reading far from both its neighbours, which agree, is one wherever
	// it stands.
	for i := 1; i+1 < len(p); i++ {
		d := p[i] - (p[i-1]+p[i+1])/2
		if math.Abs(d) <= 20*noise || t[i+1]-t[i-1] >= 5*max(by.at(i-1), by.at(i), by.at(i+1)) || spike[i-1] || onWay(p, i, noise, d) {
			continue
		}
		if math.Abs(p[i+1]-p[i-1]) < 0.2*math.Abs(d) && !offRamp(p, i, noise, d) || onLine(p, i, d) {
			spike[i] = true
		}
	}
	var ht, hp [6]float64 // the last sound readings, oldest first
	n, last := 0, 0
	push := func(i int) {
		last = i
		if n < len(ht) {
			ht[n], hp[n] = t[i], p[i]
			n++
			return
		}
		copy(ht[:], ht[1:])
		copy(hp[:], hp[1:])
		ht[n-1], hp[n-1] = t[i], p[i]
	}
	for i := 0; i < len(p); i++ {
		if spike[i] {
			continue
		}
		dt := by.at(i)
		if n >= 3 && t[i]-ht[n-1] > 8*min(dt, by.at(last)) {
			n = 0
		}
		if n < 3 {
			// No history: a reading that stands out from both its successors is one.
			if i+3 < len(p) && n < 2 {
				d := p[i] - (p[i+1] + p[i+2] - p[i+3])
				// What lies between its neighbours is on the way from one to the other.
				midway := n == 1 && (p[i]-hp[0])*(p[i+1]-p[i]) > 0
				if !midway && math.Abs(d) > 20*noise+3*math.Abs(p[i+3]-p[i+1]) {
					spike[i] = true
					continue
				}
			}
			push(i)
			continue
		}
		slope, mid, level := line(ht[:n], hp[:n])
		at := func(s float64) float64 { return level + slope*(s-mid) }
		spread := 0.0
		for _, x := range ht[:n] {
			spread += (x - mid) * (x - mid)
		}
		limit := 8*noise + 0.5*math.Abs(slope)*dt
		dev := p[i] - at(t[i])
		if math.Abs(dev) <= limit {
			push(i)
			continue
		}
		end := -1
		for k := 1; k <= spikeRun && i+k < len(p); k++ {
			back := p[i+k] - at(t[i+k])
			edge := p[i+k-1] - at(t[i+k-1]) - back // less what the ramp itself does
			// What an open inlet raised by even steps and a loss took back is no spike.
			if k >= 3 && math.Abs(p[i+k-1]-p[i]) > math.Abs(edge)/2 {
				continue
			}
			if math.Abs(back) <= max(0.3*math.Abs(dev), 4*noise) && math.Abs(back) <= 1.5*limit && edge*dev > 0 && math.Abs(edge) > 0.7*math.Abs(dev) {
				end = i + k
				break
			}
			// Two spikes in a row, of any size and side: the last one returns all at once,
			// faster by far than a supply makes anything good.
			last := edge + back
			lever := math.Sqrt(1 + 1/float64(n) + (t[i+k]-mid)*(t[i+k]-mid)/spread) // how far noise throws what is foretold
			if math.Abs(back) <= min(4*noise*lever, limit) && math.Abs(last) > limit && edge*last > 0 && math.Abs(edge) > 0.8*math.Abs(last) && math.Abs(edge) > 3*math.Abs(slope)*(t[i+k]-t[i+k-1]) &&
				(k < 3 || math.Abs(edge) > 2*math.Abs(p[i+k-1]-p[i+k-2])) { // no climb of even steps, as a supply makes
				end = i + k
				break
			}
		}
		if end < 0 {
			n = 0
			push(i)
			continue
		}
		for ; i < end; i++ {
			spike[i] = true
		}
		i--
	}
	return spike
}

// keepLetIn takes the marks off readings that only follow the inlet: it had just
// opened, and the first of them rose no faster than it lets in elsewhere. A loss
// that takes the rise back, or a vent, makes them look like a spike.
func (s *signal) keepLetIn(fill []interval) {
	var rates []float64
	k := 0
	for i := 1; i < len(s.t); i++ {
		for k < len(fill) && fill[k].end < s.t[i] {
			k++
		}
		if k < len(fill) && fill[k].start <= s.t[i-1] && s.t[i]-s.t[i-1] < 1.5*s.dt && !s.spike[i] && !s.spike[i-1] {
			rates = append(rates, (s.p[i]-s.p[i-1])/(s.t[i]-s.t[i-1]))
		}
	}
	if len(rates) < 8 {
		return
	}
	slices.Sort(rates)
	most := 1.5 * rates[len(rates)*9/10]
	for i := 1; i < len(s.t); i++ {
		if !s.spike[i] || s.spike[i-1] {
			continue
		}
		end := i
		for end < len(s.t) && s.spike[end] {
			end++
		}
		opened := slices.ContainsFunc(fill, func(o interval) bool { return o.start > s.t[i-1]-s.dt && o.start < s.t[i] })
		// One reading alone may be a spike after all.
		if !opened || end-i < 2 || end-i > spikeRun {
			continue
		}
		rise := func(j int) float64 { return (s.p[j] - s.p[j-1]) / (s.t[j] - s.t[j-1]) }
		slack := 4 * s.noise / s.dt
		even := rise(i) > 0 && rise(i) < most+slack && rise(i+1) > 0 && rise(i+1) < most+slack
		// Or they fell at once and climbed from there as the inlet lets in.
		if end < len(s.t) && rise(i) < 0 {
			even = min(rise(i+1), rise(end)) > most/3 && max(rise(i+1), rise(end)) < most+slack
		}
		for j := i; even && j < end; j++ {
			s.spike[j] = false
		}
	}
}

// line is the least-squares line through a few points: slope, centre, level there.
func line(t, v []float64) (slope, mid, level float64) {
	n := float64(len(t))
	for i := range t {
		mid += t[i] / n
		level += v[i] / n
	}
	var a, b float64
	for i := range t {
		a += (t[i] - mid) * (v[i] - level)
		b += (t[i] - mid) * (t[i] - mid)
	}
	if b > 0 {
		slope = a / b
	}
	return slope, mid, level
}

// readySignal makes the signal of a table: the transducer with the most
// readings, joined by a second one where both were read at the same times.
func readySignal(x *table) *signal {
	first := &x.chambers[0]
	by := x.pace(first)
	s := &signal{t: first.t, p: first.p, second: math.NaN(), dt: by.dt, calmDT: by.calmDT, calm: by.calm}
	s.noise = whiteNoise(s.t, s.p, s.dt)
	if n := movingNoise(s); n > s.noise {
		s.noise = n
	}
	if math.IsNaN(s.noise) || s.noise == 0 {
		s.noise = 1
	}
	s.spike = findSpikes(s.t, s.p, s.noise, by)
	if len(x.chambers) > 1 {
		s.join(&x.chambers[1], x.pace(&x.chambers[1]))
	}
	for _, b := range s.spike {
		if b {
			s.spikes++
		}
	}
	if !x.gas.empty() {
		s.gas = make([]float32, len(s.t))
		near := max(0.6*s.dt, x.gas.busy)
		far := max(near, 2*x.gas.width) // of averages of averages
		j := 0
		for i, t := range s.t {
			reach := near
			if x.gas.width > x.gas.busy && (x.gas.calm[j] || j+1 < len(x.gas.t) && x.gas.calm[j+1]) {
				reach = far
			}
			for j+1 < len(x.gas.t) && x.gas.t[j+1] <= t {
				j++
			}
			before, after := t-x.gas.t[j], math.Inf(1)
			if j+1 < len(x.gas.t) {
				after = x.gas.t[j+1] - t
			}
			switch {
			case before >= 0 && before <= 1e-3:
				s.gas[i] = x.gas.v[j]
			case before >= 0 && before <= reach && after <= reach:
				f := float32(before / (before + after))
				s.gas[i] = x.gas.v[j] + f*(x.gas.v[j+1]-x.gas.v[j])
			case math.Abs(before) <= reach:
				s.gas[i] = x.gas.v[j]
			default:
				s.gas[i] = float32(math.NaN())
			}
		}
	}
	return s
}

// join averages a second transducer into the signal. It is first brought to the
// first one's zero and span (a line through their differences), so that only its
// noise is averaged, and a spike of one is replaced by the other.
func (s *signal) join(o *pressures, by pace) {
	noise := whiteNoise(o.t, o.p, by.dt)
	if math.IsNaN(noise) || len(o.t) < len(s.t)/2 {
		return
	}
	by.dt = s.dt
	spike := findSpikes(o.t, o.p, max(noise, 1), by)
	pair := make([]int, len(s.t))
	var at, diff []float64
	j := 0
	for i, t := range s.t {
		pair[i] = -1
		for j < len(o.t) && o.t[j] < t-0.2*s.dt {
			j++
		}
		if j < len(o.t) && math.Abs(o.t[j]-t) <= 0.2*s.dt {
			pair[i] = j
			if !s.spike[i] && !spike[j] {
				at = append(at, s.p[i])
				diff = append(diff, o.p[j]-s.p[i])
			}
		}
	}
	if len(at) < 20 || len(at) < len(s.t)/2 {
		return
	}
	slope, mid, level := line(at, diff)
	// Two rounds without what lies far off.
	for range 2 {
		sd := 0.0
		r := make([]float64, len(at))
		for i := range at {
			r[i] = diff[i] - level - slope*(at[i]-mid)
		}
		sd = madSD(r)
		k := 0
		for i := range at {
			if math.Abs(r[i]) <= 4*sd {
				at[k], diff[k] = at[i], diff[i]
				k++
			}
		}
		at, diff = at[:k], diff[:k]
		slope, mid, level = line(at, diff)
	}
	s.second = strays(at, diff, slope, mid, level)
	apart := apartPa + 10*math.Hypot(s.noise, noise)
	w := s.noise * s.noise / (s.noise*s.noise + noise*noise)
	joined := make([]float64, len(s.p))
	for i := range s.p {
		joined[i] = s.p[i]
		j := pair[i]
		if j < 0 {
			continue
		}
		b := o.p[j] - level - slope*(s.p[i]-mid)
		if s.spike[i] {
			// The span's correction needs a sound pressure: solve for it.
			b = (o.p[j] - level + slope*mid) / (1 + slope)
		}
		switch {
		case s.spike[i] && spike[j]:
		case s.spike[i]:
			joined[i], s.spike[i] = b, false
		case spike[j]:
		case math.Abs(b-s.p[i]) > apart:
			// One of them is wrong and nobody knows which: that is no reading.
			s.spike[i] = true
			s.split = append(s.split, s.t[i])
		default:
			joined[i] = (1-w)*s.p[i] + w*b
		}
	}
	s.p = joined
	if n := whiteNoise(s.t, s.p, s.dt); n > 0 {
		s.noise = n
	}
}

// apartPa and ten times their noise beyond the line through their differences, two
// transducers disagree: read within a fifth of an interval, the fastest vent moves
// the pressure by less between them (common practice, no source).
const apartPa = 2e3

// strays is the standard deviation of the differences between two transducers,
// averaged over some 100 readings at a time.
func strays(at, diff []float64, slope, mid, level float64) float64 {
	const block = 100
	var sum float64
	n := 0
	for i := 0; i+block <= len(diff); i += block {
		m := 0.0
		for k := i; k < i+block; k++ {
			m += (diff[k] - level - slope*(at[k]-mid)) / block
		}
		sum += m * m
		n++
	}
	if n < 2 {
		return 0
	}
	return math.Sqrt(sum / float64(n))
}
