package plots

import (
	"fmt"
	"math"

	"proofpot/analysis/certificate/units"
)

// tick is one mark of an axis, at a value in the axis's own unit.
type tick struct {
	at    float64
	label string
}

// plain writes the labels of scales; a panel puts them into its reader's language.
var plain units.System

// niceTicks gives some n round values within [low, high], and at least two.
func niceTicks(low, high float64, n int) []tick {
	span := high - low
	if !(span > 0) || math.IsInf(span, 0) || n < 1 {
		return nil
	}
	decade := math.Pow(10, math.Ceil(math.Log10(span/float64(n))))
	ticks := ticksEvery(decade, low, high)
	for _, share := range []float64{0.5, 0.2, 0.1} {
		if len(ticks) >= 2 && share*decade < span/float64(n) {
			break
		}
		ticks = ticksEvery(share*decade, low, high)
	}
	return ticks
}

// ticksEvery gives the whole multiples of a step within [low, high].
func ticksEvery(step, low, high float64) []tick {
	if !(step > 0) || math.Max(math.Abs(low), math.Abs(high))/step > 1e9 {
		return nil // finer than the numbers can be told apart
	}
	decimals := min(9, max(0, int(-math.Floor(math.Log10(step)+1e-9))))
	var ticks []tick
	for k := math.Ceil(low/step - 1e-9); k*step <= high+1e-9*step; k++ {
		ticks = append(ticks, tick{k * step, plain.Number(k*step, decimals)})
	}
	return ticks
}

// timeSteps are the distances between marks of time, in seconds.
var timeSteps = []float64{10, 20, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400}

// timeTicks marks round times since the start, as h:mm, or h:mm:ss where the
// marks are closer than a minute.
func timeTicks(span float64, n int) []tick {
	n = max(n, 1)
	step := timeSteps[len(timeSteps)-1]
	for _, s := range timeSteps {
		if span/s <= float64(n) {
			step = s
			break
		}
	}
	for span/step > float64(n) {
		step *= 2
	}
	var ticks []tick
	for at := 0.0; at <= span*(1+1e-9); at += step {
		s := int64(math.Round(at))
		label := fmt.Sprintf("%d:%02d", s/3600, s/60%60)
		if step < 60 {
			label += fmt.Sprintf(":%02d", s%60)
		}
		ticks = append(ticks, tick{at, label})
	}
	return ticks
}

// scale maps a value to a share of an axis: linear, or where bend is above
// zero, linear near zero and logarmic far beyond ±bend (inverse hyperbolic
// sine), for holds whose rates differ by orders of magnitude.
type scale struct {
	low, high float64
	bend      float64
}

func (s scale) warp(v float64) float64 {
	if s.bend > 0 {
		return math.Asinh(v / s.bend)
	}
	return v
}

// share is 0 at the low end and 1 at the high end.
func (s scale) share(v float64) float64 {
	return (s.warp(v) - s.warp(s.low)) / (s.warp(s.high) - s.warp(s.low))
}

func (s scale) ticks(n int) []tick {
	if s.bend <= 0 {
		return niceTicks(s.low, s.high, n)
	}
	ticks := []tick{{0, "0"}}
	first := math.Ceil(math.Log10(s.bend) - 1e-9)
	last := math.Floor(math.Log10(math.Max(-s.low, s.high)) + 1e-9)
	every := math.Max(1, math.Ceil((last-first+1)/float64(n)))
	for k := first; k <= last; k += every {
		v, decimals := math.Pow(10, k), int(math.Max(0, -k))
		if v <= s.high {
			ticks = append(ticks, tick{v, plain.Number(v, decimals)})
		}
		if -v >= s.low {
			ticks = append(ticks, tick{-v, plain.Number(-v, decimals)})
		}
	}
	return ticks
}

// around widens the range of some values by a share of it, and opens it where
// they are all the same.
func around(low, high, margin, least float64) scale {
	span := math.Max(high-low, least)
	middle := (low + high) / 2
	half := span/2 + margin*span
	return scale{low: middle - half, high: middle + half}
}
