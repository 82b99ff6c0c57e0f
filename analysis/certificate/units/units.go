// Package units writes depths, pressures, rates and times for the certificate
// and its pictures in the units and the language its reader chose. Values come in as metres,
// pascal absolute, ml/h and UTC times; what is not a number is written as
// NotMeasured, never as NaN.
package units

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"proofpot/analysis/certificate/words"
)

// NotMeasured stands wherever a value is missing.
const NotMeasured = "not measured"

// Depth is a unit of depth.
type Depth string

// Pressure is a unit of pressure.
type Pressure string

// The units that a certificate can be written in.
const (
	Metre Depth = "m"
	Foot  Depth = "ft"

	Bar        Pressure = "bar"
	KPa        Pressure = "kPa"
	PoundPerIn Pressure = "psi"
)

const (
	// metrePerFoot is the international foot, exactly.
	metrePerFoot = 0.3048
	// pascalPerPsi is the avoirdupois pound (0.45359237 kg) under standard
	// gravity (9.80665 m/s²) on a square inch (0.0254 m)²; NIST SP 811, App. B.
	pascalPerPsi = 0.45359237 * 9.80665 / (0.0254 * 0.0254)
)

// Language is a language by its BCP 47 tag.
type Language = words.Language

// System is the choice of units and language of one document.
type System struct {
	Depth    Depth
	Pressure Pressure
	words.Language
}

// Check fills in metres, bar and English where nothing was chosen and refuses a unit
// or a language that it does not know.
func (s System) Check() (System, error) {
	if s.Depth == "" {
		s.Depth = Metre
	}
	if s.Pressure == "" {
		s.Pressure = Bar
	}
	if s.Depth != Metre && s.Depth != Foot {
		return s, fmt.Errorf("unknown unit of depth %q: want m or ft", string(s.Depth))
	}
	if s.Pressure != Bar && s.Pressure != KPa && s.Pressure != PoundPerIn {
		return s, fmt.Errorf("unknown unit of pressure %q: want bar, psi or kPa", string(s.Pressure))
	}
	var err error
	s.Language, err = s.Language.Check()
	return s, err
}

// DepthValue is a depth of m metres in the chosen unit.
func (s System) DepthValue(m float64) float64 {
	if s.Depth == Foot {
		return m / metrePerFoot
	}
	return m
}

// PressureValue is a pressure of pa pascal in the chosen unit.
func (s System) PressureValue(pa float64) float64 {
	switch s.Pressure {
	case KPa:
		return pa / 1e3
	case PoundPerIn:
		return pa / pascalPerPsi
	default:
		return pa / 1e5
	}
}

// SmallPressure is the unit for differences far below the pressure itself, and
// how many of it make one pascal.
func (s System) SmallPressure() (name string, perPa float64) {
	switch s.Pressure {
	case KPa:
		return "Pa", 1
	case PoundPerIn:
		return "psi", 1 / pascalPerPsi
	default:
		return "mbar", 1e-2
	}
}

// DepthText writes a depth in metres to a tenth.
func (s System) DepthText(m float64) string { return s.depth(m, math.Round) }

// DepthDown writes a depth in metres rounded down, for what a unit may be
// trusted with and for lower bounds.
func (s System) DepthDown(m float64) string {
	return s.depth(m, func(x float64) float64 { return math.Floor(x + tie) })
}

// DepthUp writes a depth in metres rounded up, for upper bounds.
func (s System) DepthUp(m float64) string {
	return s.depth(m, func(x float64) float64 { return math.Ceil(x - tie) })
}

// tie keeps a value that is a whole number of steps, but for its binary
// representation, where it is.
const tie = 1e-6

func (s System) depth(m float64, round func(float64) float64) string {
	if !finite(m) {
		return s.T(NotMeasured)
	}
	return s.Number(round(s.DepthValue(m)*10)/10, 1) + " " + string(s.Depth)
}

// PressureText writes a pressure in pascal with about 1 mbar of resolution.
func (s System) PressureText(pa float64) string {
	if !finite(pa) {
		return s.T(NotMeasured)
	}
	decimals := map[Pressure]int{Bar: 3, KPa: 1, PoundPerIn: 2}[s.Pressure]
	return s.Number(s.PressureValue(pa), decimals) + " " + string(s.Pressure)
}

// Number writes v with the given decimals and a true minus sign.
func (s System) Number(v float64, decimals int) string {
	if !finite(v) {
		return s.T(NotMeasured)
	}
	format := byte('f')
	if math.Abs(v) >= 1e12 { // beyond all that is measured here: keep it short
		format = 'e'
	}
	text := strconv.FormatFloat(v, format, decimals, 64)
	if unsigned, negative := strings.CutPrefix(text, "-"); negative {
		if strings.Trim(unsigned, "0.") == "" {
			return s.Decimal(unsigned)
		}
		return s.Decimal("−" + unsigned)
	}
	return s.Decimal(text)
}

// Sized writes v with decimals that suit its size: three below 1, two below
// 10, one below 100.
func (s System) Sized(v float64) string { return s.Number(v, Decimals(v)) }

// SizedUp is Sized rounded up, for upper bounds and detection limits.
func (s System) SizedUp(v float64) string { return s.Bound(v, Decimals(v), true) }

// Bound writes a bound to the given decimals, rounded away from what it bounds.
func (s System) Bound(v float64, decimals int, upper bool) string {
	if !finite(v) {
		return s.T(NotMeasured)
	}
	step := math.Pow10(decimals)
	if upper {
		return s.Number(math.Ceil(v*step-tie)/step, decimals)
	}
	return s.Number(math.Floor(v*step+tie)/step, decimals)
}

// Decimals is how many decimals suit numbers as large as the largest given.
func Decimals(values ...float64) int {
	largest := 0.0
	for _, v := range values {
		if finite(v) {
			largest = math.Max(largest, math.Abs(v))
		}
	}
	switch {
	case largest < 1:
		return 3
	case largest < 10:
		return 2
	case largest < 100:
		return 1
	default:
		return 0
	}
}

// Elapsed writes a duration as h:mm:ss.
func Elapsed(d time.Duration) string {
	sign := ""
	if d < 0 {
		sign, d = "−", -d
	}
	s := int64(d.Round(time.Second) / time.Second)
	return fmt.Sprintf("%s%d:%02d:%02d", sign, s/3600, s/60%60, s%60)
}

// Length writes a duration in the way one says it: "90 s", "15 min", "9 h 30 min".
func (s System) Length(d time.Duration) string {
	switch {
	case d < 0:
		return s.T(NotMeasured)
	case d < 2*time.Minute:
		return fmt.Sprintf("%d s", int64(math.Round(d.Seconds())))
	case d < 2*time.Hour:
		return fmt.Sprintf("%d min", int64(math.Round(d.Minutes())))
	}
	minutes := int64(math.Round(d.Minutes()))
	if minutes%60 == 0 {
		return fmt.Sprintf("%d h", minutes/60)
	}
	return fmt.Sprintf("%d h %d min", minutes/60, minutes%60)
}

// UTC writes a moment to the second.
func (s System) UTC(t time.Time) string {
	if t.IsZero() {
		return s.T(NotMeasured)
	}
	return t.UTC().Format("2006-01-02 15:04:05") + " UTC"
}

// UTCClock writes the time of day of a moment to the second.
func (s System) UTCClock(t time.Time) string {
	if t.IsZero() {
		return s.T(NotMeasured)
	}
	return t.UTC().Format("15:04:05") + " UTC"
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
