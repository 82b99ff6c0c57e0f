package characterise

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"proofpot/analysis"
	"proofpot/rig/record"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

// Fill is a chamber as its valve filled it, from the ramps of a record that go up.
type Fill struct {
	// OpenS is how long the fill valve stood open from LowPa to HighPa, absolute.
	OpenS         float64
	LowPa, HighPa float64
	EndPa         float64 // absolute, at rest after the ramp
	StartPa       float64 // absolute, before it
	Strokes       float64 // full strokes of a hand pump that were typed, in all; 0: none
}

// StrokesNote begins the note by which a person says how many full strokes he has
// made since the vent was shut, parts of one as parts: "strokes 14.5".
const StrokesNote = "strokes "

// fillLow and fillHigh bound the even part of a fill, as shares of its way.
const (
	fillLow  = 0.3
	fillHigh = 0.9
)

// ReadFill reads the fill of a record: its ramps, up to the first that goes down.
func ReadFill(run setup.Run, src analysis.Source) (Fill, error) {
	w := NewFilling(run)
	var l record.Line
	for !w.Over() {
		err := src.Next(&l)
		if err == io.EOF {
			break
		}
		if err != nil {
			return Fill{}, err
		}
		w.Line(&l)
	}
	f, ok := w.Fill()
	if !ok {
		return Fill{}, errors.New("the record holds no ramp to read")
	}
	return f, nil
}

// Filling gathers a fill while it goes on.
type Filling struct {
	chamber      string
	startNS      int64
	pa, at       []float64
	opened, shut []float64 // when the fill valve opened and shut, s
	ramp, rested bool
	target       float64
	over         bool
	strokes      float64
}

// NewFilling begins with a run's sheet.
func NewFilling(run setup.Run) *Filling {
	w := &Filling{}
	for _, s := range run.Bench.Sensors {
		if s.Measures == sensors.ChamberPressure.String() {
			w.chamber = s.ID
			break
		}
	}
	return w
}

// Over says that the way goes down from here: nothing is added any more.
func (w *Filling) Over() bool { return w.over }

// Line takes in a line of the record.
func (w *Filling) Line(l *record.Line) {
	if w.over {
		return
	}
	if w.startNS == 0 {
		w.startNS = l.TimeNS
	}
	t := float64(l.TimeNS-w.startNS) / 1e9
	switch {
	case l.Measurement == record.Stage:
		if w.ramp = l.Kind == "ramp"; w.ramp && l.PressurePa < w.target || l.Kind == "vent" {
			w.over = true
			return
		}
		w.target = max(w.target, l.PressurePa)
	case l.Measurement == record.Chamber && l.Sensor == w.chamber && !math.IsNaN(l.PressurePa):
		if n := len(w.pa); !w.ramp && w.rested && n > 0 { // between two ramps only the last value counts
			w.pa, w.at = w.pa[:n-1], w.at[:n-1]
		}
		w.rested = !w.ramp
		w.pa, w.at = append(w.pa, l.PressurePa), append(w.at, t)
	case l.Measurement == record.Note:
		if n, ok := strokesOf(l.Text); ok {
			w.strokes = n
		}
	case w.ramp && l.Measurement == record.Valve && l.Valve == "fill" && l.HasOpen:
		if l.Open {
			w.opened = append(w.opened, t)
		} else if len(w.opened) > len(w.shut) {
			w.shut = append(w.shut, t)
		}
	}
}

// Fill is what was gathered so far; false where that is too little.
func (w *Filling) Fill() (Fill, bool) {
	if len(w.pa) < 10 {
		return Fill{}, false
	}
	f := Fill{StartPa: w.pa[0], EndPa: w.pa[len(w.pa)-1], Strokes: w.strokes}
	f.valve(w.pa, w.at, w.opened, w.shut)
	return f, f.OpenS > 0 || f.Strokes > 0
}

func strokesOf(text string) (float64, bool) {
	figure, is := strings.CutPrefix(text, StrokesNote)
	n, err := strconv.ParseFloat(strings.TrimSpace(figure), 64)
	return n, is && err == nil && n > 0 && n < 1e5
}

// strokeU is how well a person counts: half a stroke.
const strokeU = 0.5

// GasStrokes is the free gas in strokes of the pump that squeezed it, with its
// standard uncertainty: n/(1 − p0/p1) by Boyle's law for n strokes from the room's
// pressure p0 to p1, walls and water counted with the gas. It shows a change of the
// gas, and not how much there is. 0 where no strokes were typed.
//
// (What the pressure alone shows of the strokes is no count: of 9 to 20 that the
// simulated bench's operator makes on the way to 12 m, partial ones among them, it
// misses none to nearly half.)
func (f Fill) GasStrokes() (n, sd float64) {
	squeezed := 1 - f.StartPa/f.EndPa
	if f.Strokes == 0 || squeezed <= 0 {
		return 0, 0
	}
	return f.Strokes / squeezed, strokeU / squeezed
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
