package units

import (
	"math"
	"strings"
	"testing"
	"time"

	"proofpot/analysis/certificate/words"
)

// NIST SP 811 (2008), appendix B: 1 ft = 0.3048 m, 1 psi = 6,894.757 Pa.
func TestFactorsAreThoseOfSP811(t *testing.T) {
	s := System{Depth: Foot, Pressure: PoundPerIn}
	if got := s.DepthValue(30.48); math.Abs(got-100) > 1e-12 {
		t.Errorf("30.48 m is %v ft", got)
	}
	if got := s.PressureValue(6894.757); math.Abs(got-1) > 1e-7 {
		t.Errorf("6894.757 Pa is %v psi", got)
	}
}

func TestADepthToTrustIsNeverRoundedUp(t *testing.T) {
	for _, c := range []struct {
		system         System
		metres         float64
		down, near, up string
	}{
		{System{Depth: Metre}, 30.0, "30.0 m", "30.0 m", "30.0 m"},
		{System{Depth: Metre}, 29.96, "29.9 m", "30.0 m", "30.0 m"},
		{System{Depth: Metre}, 37.5 / 1.25, "30.0 m", "30.0 m", "30.0 m"},
		{System{Depth: Metre}, 30.01, "30.0 m", "30.0 m", "30.1 m"},
		{System{Depth: Foot}, 30.0, "98.4 ft", "98.4 ft", "98.5 ft"},
		{System{Depth: Metre}, -0.04, "−0.1 m", "0.0 m", "0.0 m"},
	} {
		down, near, up := c.system.DepthDown(c.metres), c.system.DepthText(c.metres), c.system.DepthUp(c.metres)
		if down != c.down || near != c.near || up != c.up {
			t.Errorf("%v m: %s, %s, %s; want %s, %s, %s", c.metres, down, near, up, c.down, c.near, c.up)
		}
	}
}

func TestABoundNeverClaimsMoreThanItBounds(t *testing.T) {
	for _, v := range []float64{0.4996, 0.5, -0.0204, 0.0001, 123.456, 9.9999} {
		for decimals := range 4 {
			low, high := (System{}).Bound(v, decimals, false), (System{}).Bound(v, decimals, true)
			if number(t, low) > v+1e-5 || number(t, high) < v-1e-5 {
				t.Errorf("%v to %d decimals: %s to %s", v, decimals, low, high)
			}
		}
	}
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	text = strings.ReplaceAll(text, "−", "-")
	sign, whole, part, scale := 1.0, 0.0, 0.0, 1.0
	if strings.HasPrefix(text, "-") {
		sign, text = -1, text[1:]
	}
	digits, decimals, _ := strings.Cut(text, ".")
	for _, r := range digits {
		whole = 10*whole + float64(r-'0')
	}
	for _, r := range decimals {
		scale /= 10
		part += scale * float64(r-'0')
	}
	return sign * (whole + part)
}

func TestNothingWritesNaN(t *testing.T) {
	s := System{Depth: Metre, Pressure: Bar}
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		for _, text := range []string{s.DepthText(v), s.DepthDown(v), s.DepthUp(v), s.PressureText(v), s.Number(v, 2), s.Sized(v), s.SizedUp(v), s.Bound(v, 1, true)} {
			if text != NotMeasured {
				t.Errorf("%v is written as %q", v, text)
			}
		}
	}
	if s.UTC(time.Time{}) != NotMeasured || s.UTCClock(time.Time{}) != NotMeasured {
		t.Error("a time that is not set is written as a time")
	}
}

func TestTimesReadAsOneSaysThem(t *testing.T) {
	for _, c := range []struct {
		of   time.Duration
		want [2]string
	}{
		{90 * time.Second, [2]string{"0:01:30", "90 s"}},
		{15 * time.Minute, [2]string{"0:15:00", "15 min"}},
		{9*time.Hour + 30*time.Minute, [2]string{"9:30:00", "9 h 30 min"}},
		{72 * time.Hour, [2]string{"72:00:00", "72 h"}},
	} {
		if got := [2]string{Elapsed(c.of), (System{}).Length(c.of)}; got != c.want {
			t.Errorf("%v: %q, want %q", c.of, got, c.want)
		}
	}
	if got := Elapsed(-61 * time.Second); got != "−0:01:01" {
		t.Errorf("a minute before the start is %q", got)
	}
}

func TestUnknownUnitsAreRefusedAndNoneMeansMetresBarAndEnglish(t *testing.T) {
	if s, err := (System{}).Check(); err != nil || s != (System{Metre, Bar, words.English}) {
		t.Errorf("%v, %v", s, err)
	}
	for _, s := range []System{{Depth: "fsw"}, {Pressure: "Bar"}, {Language: "tlh"}} {
		if _, err := s.Check(); err == nil {
			t.Errorf("%v was taken", s)
		}
	}
}

func TestTextIsMadeFitToPrint(t *testing.T) {
	for text, want := range map[string]string{
		"KP-01 Größe µ 深":       "KP-01 Größe µ 深",
		"a\x00b\x1b[1m\nc\td":   "a b [1m c d",
		"pass\u202eliaf":        "pass\ufffdliaf",
		"zero\u200bwidth\ufeff": "zero\ufffdwidth\ufffd",
		"broken\xff\xfe":        "broken\ufffd\ufffd",
		"no\ufffe\U0001fffe":    "no\ufffd\ufffd",
	} {
		if got := Clean(text, 0); got != want {
			t.Errorf("%q became %q, want %q", text, got, want)
		}
	}
	if got := Clean("nineteen runes long", 8); got != "nineteen…" {
		t.Errorf("cut to %q", got)
	}
}

func TestGermanNumbersHaveAComma(t *testing.T) {
	s := System{Depth: Metre, Pressure: Bar, Language: "de"}
	for got, want := range map[string]string{s.DepthText(24.36): "24,4 m", s.PressureText(101325): "1,013 bar", s.Number(-0.05, 2): "−0,05", s.SizedUp(0.1234): "0,124"} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
