package characterise

import (
	"errors"
	"fmt"
	"io"
	"math"

	"proofpot/analysis"
	"proofpot/rig/record"
	"proofpot/rig/setup"
)

// Fill is a chamber as its valve filled it, from the ramps of a record that go up.
type Fill struct {
	// OpenS is how long the fill valve stood open from LowPa to HighPa, absolute.
	OpenS         float64
	LowPa, HighPa float64
	EndPa         float64 // absolute, at rest after the ramp
	StartPa       float64 // absolute, before it
}

// fillLow and fillHigh bound the even part of a fill, as shares of its way.
const (
	fillLow  = 0.3
	fillHigh = 0.9
)

// ReadFill reads the fill of a record: its ramps, up to the first that goes down.
func ReadFill(run setup.Run, src analysis.Source) (Fill, error) {
	chamber := ""
	for _, s := range run.Bench.Sensors {
		if s.Measures == "chamber pressure" {
			chamber = s.ID
			break
		}
	}
	var l record.Line
	var pa, at []float64
	var opened, open []float64 // when the fill valve opened and shut, s
	start := math.NaN()
	ramp, rested, target := false, false, 0.0
	for {
		err := src.Next(&l)
		if err == io.EOF {
			break
		}
		if err != nil {
			return Fill{}, err
		}
		t := float64(l.TimeNS) / 1e9
		if math.IsNaN(start) {
			start = t
		}
		t -= start
		if l.Measurement == record.Stage {
			if ramp = l.Kind == "ramp"; ramp && l.PressurePa < target || l.Kind == "vent" {
				break // on the way down
			}
			target = max(target, l.PressurePa)
		}
		switch {
		case !ramp:
			// Between two ramps only the last value counts.
			if l.Measurement == record.Chamber && l.Sensor == chamber && !math.IsNaN(l.PressurePa) {
				if n := len(pa); rested && n > 0 {
					pa, at = pa[:n-1], at[:n-1]
				}
				pa, at, rested = append(pa, l.PressurePa), append(at, t), true
			}
		case l.Measurement == record.Chamber && l.Sensor == chamber && !math.IsNaN(l.PressurePa):
			pa, at, rested = append(pa, l.PressurePa), append(at, t), false
		case l.Measurement == record.Valve && l.Valve == "fill" && l.HasOpen:
			if l.Open {
				opened = append(opened, t)
			} else if len(opened) > len(open) {
				open = append(open, t)
			}
		}
	}
	if len(pa) < 10 {
		return Fill{}, errors.New("the record holds no ramp to read")
	}
	f := Fill{StartPa: pa[0], EndPa: pa[len(pa)-1]}
	f.valve(pa, at, opened, open)
	return f, nil
}

// valve sums how long the fill valve stood open over the even part of the way.
func (f *Fill) valve(pa, at, opened, shut []float64) {
	low := f.StartPa + fillLow*(f.EndPa-f.StartPa)
	high := f.StartPa + fillHigh*(f.EndPa-f.StartPa)
	from, to := math.NaN(), math.NaN()
	for i := range pa {
		if math.IsNaN(from) && pa[i] >= low {
			from, f.LowPa = at[i], pa[i]
		}
		if math.IsNaN(to) && pa[i] >= high {
			to, f.HighPa = at[i], pa[i]
		}
	}
	if math.IsNaN(from) || math.IsNaN(to) {
		return
	}
	for i := range shut {
		if d := min(shut[i], to) - max(opened[i], from); d > 0 {
			f.OpenS += d
		}
	}
}

// SecondsPerBar is how long the fill valve stands open for a bar, which goes with
// the free gas of the chamber where the supply's flow is choked; 0 where there is
// no valve.
func (f Fill) SecondsPerBar() float64 {
	if f.HighPa <= f.LowPa {
		return 0
	}
	return f.OpenS / (f.HighPa - f.LowPa) * 1e5
}

// Differs says in words how a fill differs from the last one of the same bench;
// empty where it does not. Fill values are free gas in ml, or seconds a bar.
func Differs(now, nowSD, last, lastSD float64, unit string) string {
	const share = 0.2 // a supply's pressure is no better
	off := now - last
	if math.Abs(off) <= max(share*math.Abs(last), coverage95*math.Hypot(nowSD, lastSD)) {
		return ""
	}
	word := "more"
	if off < 0 {
		word = "less"
	}
	return fmt.Sprintf("the fill shows %s free gas than the last: %.4g %s, then %.4g; trapped air, another water level, or another cushion: the stiffness on the sheet may not hold",
		word, now, unit, last)
}
