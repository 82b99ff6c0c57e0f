package analysis

import (
	"math"

	"proofpot/profiles/assumed"
	"proofpot/profiles/water"
)

// settlingS is for how long after a valve has moved the gas may still settle, s: blocks
// stay short against that, since the mean of a settling is not what it is at their middle.
const settlingS = 900.0

// block is the mean of a few readings of a closed part.
type block struct {
	t, p   float64 // s, Pa
	lnp    float64 // mean of ln p
	gas    float64 // K, mean of the thermometer; NaN without one
	water  float64 // °C, mean of the water
	apart  float64 // K, mean of how much warmer the unit was than the water, see unitK
	long   float64 // s, that it means
	driven float64 // Pa h, gauge pressure summed up since the part began
	n      float64
	part   int
	inHold bool
}

// reduced is a stage's readings as blocks. It is made once, and again where a
// sudden loss parts a closed time; nothing changes it.
type reduced struct {
	blocks  []block
	parts   []interval
	cools   []cooling
	heat    []float64 // K, how far the gas may have been warmed before each part
	rampEnd float64
	step    float64   // Pa, the rise before the dwell; negative where pressure was let off
	swing   []float64 // ml², covariance of what the swing of the room does, by pairs of blocks
}

const maxParts = 10

// prepare reduces the stage's readings to blocks.
func (f *chamberFit) prepare() {
	if f.reduced = f.st.ready; f.reduced != nil {
		return
	}
	f.reduced = &reduced{}
	f.st.ready = f.reduced
	parts := f.st.closed
	if len(parts) > maxParts {
		parts = longest(parts, maxParts)
	}
	f.parts = parts
	f.rampEnd = f.st.dwell().start
	if f.st.ramp.real() {
		f.rampEnd = f.st.ramp.end
		lo, _ := between(f.s.t, f.st.ramp.start, f.st.ramp.end)
		hi, _ := between(f.s.t, f.st.dwell().start, f.st.dwell().end)
		if lo < len(f.s.p) && hi < len(f.s.p) {
			f.step = f.s.p[hi] - f.s.p[lo]
		}
	}
	hold := f.window()
	long := max(hold.length(), 60)
	for i, part := range parts {
		lo, hi := between(f.s.t, part.start, part.end)
		var b block
		width, thermometers, first := 0.0, 0.0, len(f.blocks)
		flush := func(next int) {
			if b.n >= 1 {
				b.t /= b.n
				b.p /= b.n
				b.lnp /= b.n
				b.gas /= thermometers
				if thermometers < b.n/2 {
					b.gas = math.NaN()
				}
				f.temperatures(&b, next)
				if n := len(f.blocks); n > first {
					last := &f.blocks[n-1]
					b.driven = last.driven + ((b.p+last.p)/2-f.v.roomPa)*(b.t-last.t)/3600
				}
				f.blocks = append(f.blocks, b)
			}
			b, thermometers = block{part: i}, 0
		}
		b.part = i
		end := math.Inf(-1)
		wasHold := false
		for k := lo; k < hi; k++ {
			if f.s.spike[k] {
				continue
			}
			t := f.s.t[k]
			inHold := t > hold.start
			if t >= end || inHold != wasHold {
				flush(k)
				width = max(long/36, 3*f.s.dt)
				if since := t - part.start; since < settlingS {
					width = min(width, max(3*f.s.dt, 4, since/6))
				}
				end = t + width
				wasHold = inHold
			}
			b.inHold = inHold
			b.t += t
			b.p += f.s.p[k]
			b.lnp += math.Log(f.s.p[k])
			if f.s.gas != nil && f.s.gas[k] == f.s.gas[k] {
				b.gas += float64(f.s.gas[k]) + water.ZeroC
				thermometers++
			}
			b.n++
		}
		flush(hi)
		c := cooling{start: part.start, tau: 40, base: f.base}
		if f.s.gas != nil {
			c = fitCooling(f.s, part, f.base)
		}
		f.cools = append(f.cools, c)
		f.heat = append(f.heat, f.heating(part))
	}
	f.swings()
}

// swings works out what the swing of the room may do to the volume: it goes up
// and down within a hold, which looks like a leak and like what fades.
func (f *chamberFit) swings() {
	if f.v.waterML <= 0 {
		return
	}
	c := 20.0
	if f.base != nil && len(f.blocks) > 0 {
		c = f.blocks[0].water
	}
	s := assumed.Pot{ChamberML: f.v.chamberML, WaterML: f.v.waterML}.Swing(waterExpansion(c, c+0.1) / 0.1)
	n := len(f.blocks)
	f.swing = make([]float64, n*n)
	for i := range f.blocks {
		for j := i; j < n; j++ {
			a, b := &f.blocks[i], &f.blocks[j]
			f.swing[i*n+j] = s.Cov(b.t-a.t, a.long, b.long)
		}
	}
}

// temperatures means what is known by time only over a block that ends before
// reading next: water that goes up and down within hours is not at its mean in the
// middle of a long block.
func (f *chamberFit) temperatures(b *block, next int) {
	const many, long = 16, 600.0 // s
	first := next - 1
	for left := b.n; first > 0 && left > 1; first-- {
		if !f.s.spike[first] {
			left--
		}
	}
	if b.long = f.s.t[next-1] - f.s.t[first]; b.long < long {
		b.water, b.apart = f.waterC(b.t), f.unitK(b.t)
		return
	}
	for i := range many {
		t := f.s.t[first+(next-1-first)*i/(many-1)]
		b.water += f.waterC(t) / many
		b.apart += f.unitK(t) / many
	}
}
