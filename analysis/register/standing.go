package register

import (
	"fmt"
	"time"

	"proofpot/profiles"
)

// Standing is what a unit's history says of it at a moment.
type Standing struct {
	Unit    string
	Variant string
	Valid   bool      // a passed test still holds
	Test    *Test     // the passed test that holds, or did last; nil where none was passed
	Tested  time.Time // when it was passed
	Until   time.Time // when it ends by date
	Dives   int       // since that test
	Cycles  int       // times that it was let down in them
	Ended   []string  // why it no longer holds, in order of time
	Remarks []string  // what does not end it and should be known
	Shut    bool      // as far as the register knows
	Wet     bool      // water was found inside, or a test failed, and nothing was mended since
	Last    *Event    // the last event but dives and notes
	Closure *Closure  // the present one, where it was stated
}

// StandardAtmospherePa is taken for the pressure at which a unit was closed
// where nobody stated it, Pa absolute.
const StandardAtmospherePa = 101325

// LoadPa is the load on the wall of a unit closed at sealedPa (absolute, 0: the
// standard atmosphere) at a depth in a water: the absolute pressure there less
// that inside, Pa.
func LoadPa(w profiles.Water, depthM, sealedPa float64) (float64, error) {
	column, err := profiles.NewColumn(w)
	if err != nil {
		return 0, err
	}
	if sealedPa == 0 {
		sealedPa = StandardAtmospherePa
	}
	return column.DifferentialPa(depthM, sealedPa), nil
}

// provenPa gives the loads that a test proved and rated, Pa. On the bench the
// depth-equivalent counts from the pressure at which the unit was closed, so it
// is the gauge pressure of the column.
func (t *Test) provenPa() (proved, rated float64, err error) {
	column, err := profiles.NewColumn(t.Water)
	if err != nil {
		return 0, 0, fmt.Errorf("the water of test %s: %w", t.Record, err)
	}
	return column.GaugePa(t.ProvedM), column.GaugePa(t.RatedM), nil
}

// At says how a unit stands at a moment, by the events before it.
func At(now time.Time, unit string, events []Event, rules Rules) (Standing, error) {
	s := Standing{Unit: unit}
	var proved, rated float64
	end := func(at time.Time, format string, args ...any) {
		if s.Test != nil {
			s.Valid = false
			s.Ended = append(s.Ended, at.UTC().Format(time.DateOnly)+": "+fmt.Sprintf(format, args...))
		}
	}
	for _, e := range inOrder(unit, now, events) {
		if e.Kind != Dived && e.Kind != Noted {
			s.Last = &e
		}
		switch e.Kind {
		case Closed:
			end(e.At, "closed anew; a closure is tested as it is")
			s.Shut, s.Closure, s.Wet = true, e.Closure, false
		case Opened:
			end(e.At, "opened; the seal that was tested is parted%s", because(e.Text))
			s.Shut = false
		case Replaced:
			end(e.At, "a part of the seal was replaced%s", because(e.Text))
			s.Wet = false
		case Repaired:
			end(e.At, "repaired%s", because(e.Text))
			s.Wet = false
		case Struck:
			end(e.At, "struck%s", because(e.Text))
		case Wetted:
			end(e.At, "water was found inside%s", because(e.Text))
			s.Wet = true
		case Tested:
			t := e.Test
			if t.Variant != "" {
				s.Variant = t.Variant
			}
			if t.Verdict != "pass" {
				end(e.At, "tested again, %s (%s)", t.Verdict, t.Record)
				s.Wet = s.Wet || t.Verdict == "fail"
				if s.Test == nil {
					s.Ended = append(s.Ended, e.At.UTC().Format(time.DateOnly)+": tested, "+t.Verdict+" ("+t.Record+")")
				}
				continue
			}
			var err error
			if proved, rated, err = t.provenPa(); err != nil {
				return s, err
			}
			s.Valid, s.Test, s.Tested, s.Dives, s.Cycles = true, t, e.At, 0, 0
			s.Until = e.At.AddDate(0, rules.Months, 0)
			s.Ended, s.Remarks, s.Shut, s.Wet = nil, nil, true, false
		case Dived:
			if s.Test == nil {
				continue
			}
			s.Dives++
			before := s.Cycles
			s.Cycles += max(1, e.Dive.Descents)
			load, err := LoadPa(diveWater(s.Test), e.Dive.DepthM, s.sealedPa())
			if err != nil {
				return s, err
			}
			day := e.At.UTC().Format(time.DateOnly)
			switch {
			case load > proved:
				end(e.At, "dived to %.1f m, deeper than anything that was proved", e.Dive.DepthM)
			case load > rated:
				s.Remarks = append(s.Remarks, fmt.Sprintf("%s: dived to %.1f m, below its rated depth", day, e.Dive.DepthM))
			}
			if e.Dive.HasWater && measuredC(s.Test) {
				if c := e.Dive.WaterC; c > s.Test.WaterMaxC+rules.WarmerK {
					end(e.At, "dived in water of %.0f °C; tested at %.0f °C at most, and plastics are weaker when warmer", c, s.Test.WaterMaxC)
				} else if c < s.Test.WaterMinC-rules.ColderK {
					s.Remarks = append(s.Remarks, fmt.Sprintf("%s: dived in water of %.0f °C, colder than tested (%.0f °C); seals are stiffer there", day, c, s.Test.WaterMinC))
				}
			}
			if rules.Dives > 0 && s.Dives == rules.Dives+1 {
				end(e.At, "more than %d dives since the test", rules.Dives)
			}
			if rules.Cycles > 0 && s.Cycles > rules.Cycles && before <= rules.Cycles {
				end(e.At, "let down more than %d times since the test", rules.Cycles)
			}
		}
	}
	if s.Test != nil && s.Valid && now.After(s.Until) {
		end(s.Until, "%d months since the test are over", rules.Months)
	}
	return s, nil
}

// diveWater is the water in which a diver reads his depth: that of the test is
// near enough, since gauges differ by as much.
func diveWater(t *Test) profiles.Water {
	w := t.Water
	w.AltitudeM, w.SurfacePa = 0, 0
	return w
}

func (s *Standing) sealedPa() float64 {
	if s.Closure != nil && s.Closure.SealedPa > 0 {
		return s.Closure.SealedPa
	}
	if s.Test != nil {
		return s.Test.SealedPa
	}
	return 0
}

func measuredC(t *Test) bool { return t.WaterMinC != 0 || t.WaterMaxC != 0 }

func because(text string) string {
	if text == "" {
		return ""
	}
	return " (" + text + ")"
}
