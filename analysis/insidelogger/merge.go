package insidelogger

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"proofpot/rig/record"
)

// Run is what of a record the logger is set against.
type Run struct {
	StartNS, EndNS int64
	Chamber        []Sample  // Pa absolute, s since 1970
	Events         []float64 // s since 1970: ramps and the vent

	// What a sensor of the bench measured inside, which the logger's is not mixed with.
	HasPressure, HasTemperature, HasHumidity bool
}

// ReadRun takes the chamber's pressure and the events out of a record. Where
// several sensors measure the chamber, the first one is taken.
func ReadRun(next func(l *record.Line) error) (Run, error) {
	var r Run
	var l record.Line
	sensor := ""
	for {
		err := next(&l)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return r, err
		}
		if r.StartNS == 0 {
			r.StartNS = l.TimeNS
		}
		r.EndNS = l.TimeNS
		t := float64(l.TimeNS) / 1e9
		switch {
		case l.Measurement == record.UnitInside:
			r.HasPressure = r.HasPressure || !math.IsNaN(l.PressurePa)
			r.HasTemperature = r.HasTemperature || !math.IsNaN(l.TemperatureC)
			r.HasHumidity = r.HasHumidity || !math.IsNaN(l.RHPct)
		case l.Measurement == record.Chamber && !math.IsNaN(l.PressurePa):
			if sensor == "" {
				sensor = l.Sensor
			}
			if n := len(r.Chamber); l.Sensor == sensor && (n == 0 || t > r.Chamber[n-1].T) {
				r.Chamber = append(r.Chamber, Sample{t, l.PressurePa})
			}
		case l.Measurement == record.Stage && (l.Kind == "ramp" || l.Kind == "vent"):
			r.Events = append(r.Events, t)
		}
	}
	if len(r.Chamber) == 0 {
		return r, errors.New("the record has no chamber pressure")
	}
	return r, nil
}

// Pressures gives a logger's pressures.
func Pressures(rows []Row) []Sample {
	var s []Sample
	for _, r := range rows {
		if !math.IsNaN(r.PressurePa) {
			s = append(s, Sample{r.T, r.PressurePa})
		}
	}
	return s
}

// Relative says whether a logger's clock counts from its own start.
func Relative(rows []Row) bool { return rows[0].T < 1e8 } // 1973

// Lines writes the rows that fall within the run as line protocol, after
// comments that say where they come from and how the clocks stand. It gives how
// many there are.
func Lines(rows []Row, run Run, fit Fit, logger, source string, content []byte) ([]byte, int) {
	var b bytes.Buffer
	fmt.Fprintf(&b, "# %q, sha256 %x, merged by %d common events\n", source, sha256.Sum256(content), fit.Events)
	fmt.Fprintf(&b, "# record time = logger time + offset + drift x (logger time - mid): offset %.3f s +- %.3f, drift %.2f millionths +- %.2f, mid %.3f s\n",
		fit.Offset, fit.OffsetSD, fit.Drift*1e6, fit.DriftSD*1e6, fit.Mid)
	n, last := 0, int64(math.MinInt64)
	for _, r := range rows {
		ns := int64(math.Round(fit.At(r.T) * 1e9))
		if ns < run.StartNS || ns > run.EndNS || ns <= last {
			continue
		}
		line := "unit,sensor=" + logger
		apart := byte(' ')
		for _, f := range []struct {
			name string
			v    float64
			has  bool
		}{{"pressure_pa", r.PressurePa, run.HasPressure}, {"temperature_c", r.TemperatureC, run.HasTemperature}, {"rh_pct", r.RHPct, run.HasHumidity}} {
			if !math.IsNaN(f.v) && !f.has {
				line += string(apart) + f.name + "=" + strconv.FormatFloat(f.v, 'g', -1, 64)
				apart = ','
			}
		}
		if apart == ' ' {
			continue // a row without a value
		}
		if n == 0 {
			// source is a file's name: quoted, and without what would end the text.
			clean := strings.NewReplacer("\\", "/", "\"", "'", "\n", " ").Replace(source)
			fmt.Fprintf(&b, "note text=\"inside.lp: readings of logger %s follow, merged from %s by %d common events; not part of the chain\" %d\n", logger, clean, fit.Events, ns)
		}
		fmt.Fprintf(&b, "%s %d\n", line, ns)
		n, last = n+1, ns
	}
	return b.Bytes(), n
}

// Known sets the clocks by moments that a person knows in both: "LOGGER=RECORD",
// the record's as a time or in seconds since its start. within is how well, in s.
func Known(events []string, within, start float64) (Fit, error) {
	if !(within > 0) {
		return Fit{}, fmt.Errorf("--within: %g s is no uncertainty; it must be above 0", within)
	}
	var seen []point
	for _, e := range events {
		logger, recorded, ok := strings.Cut(e, "=")
		if !ok {
			return Fit{}, fmt.Errorf("--event %q: give the logger's time, =, and the record's", e)
		}
		l, err := parseTime(logger)
		if err != nil {
			return Fit{}, fmt.Errorf("--event %q: %w", e, err)
		}
		r, err := parseTime(recorded)
		if err != nil {
			return Fit{}, fmt.Errorf("--event %q: %w", e, err)
		}
		if r < 1e8 {
			r += start
		}
		seen = append(seen, Event(l, r, within))
	}
	return Line(seen), nil
}
