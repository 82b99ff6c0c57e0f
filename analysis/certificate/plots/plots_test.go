package plots

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"proofpot/analysis"
	"proofpot/analysis/certificate/drawing/drawingtest"
	"proofpot/analysis/certificate/units"
	"proofpot/profiles"
	"proofpot/rig/setup"
)

var noon = time.Date(2026, 7, 14, 12, 0, 0, 0, time.UTC)

// stairs is a made-up run of n holds, each a minute of ramp, one of settling and
// four of measuring, with a reading every two seconds.
func stairs(n int) (setup.Run, *analysis.Result) {
	run := setup.Run{Unit: setup.Unit{ID: "KP-07", SealedPa: 101325},
		Profile: profiles.Profile{Water: profiles.Water{Model: "fresh", TemperatureC: 8, LatitudeDeg: 46},
			Accept: profiles.Accept{LeakMLPerH: 0.5}}}
	r := &analysis.Result{Verdict: analysis.Verdict{Unit: "KP-07"}}
	column, err := profiles.NewColumn(run.Profile.Water)
	if err != nil {
		panic(err)
	}
	at := noon
	for i := range n {
		depth := 5 * float64(i+1)
		target := 101325 + column.GaugePa(depth)
		for _, part := range []struct {
			kind string
			long time.Duration
		}{{"ramp", time.Minute}, {"settle", time.Minute}, {"hold", 4 * time.Minute}} {
			r.Stages = append(r.Stages, analysis.StageSpan{Kind: part.kind, Index: i, Name: fmt.Sprint("step-", i),
				DepthM: depth, TargetPa: target, Start: at, End: at.Add(part.long)})
			for s := time.Duration(0); s < part.long; s += 2 * time.Second {
				r.Curves.ChamberPa = append(r.Curves.ChamberPa, analysis.Point{Time: at.Add(s), Value: target})
				if part.kind == "hold" {
					r.Curves.ChamberFittedPa = append(r.Curves.ChamberFittedPa, analysis.Point{Time: at.Add(s), Value: target + 50})
				}
			}
			at = at.Add(part.long)
		}
		limit := 0.1
		r.Verdict.Holds = append(r.Verdict.Holds, analysis.Hold{Stage: i, Name: fmt.Sprint("step-", i), DepthM: depth,
			Start: at.Add(-4 * time.Minute), End: at, Verdict: analysis.Pass, DetectionLimitMLPerH: &limit,
			LeakMLPerH: &analysis.Interval{Estimate: 0.01, Low: -0.05, High: 0.07}})
	}
	return run, r
}

// label is a text of a picture with where it begins.
type label struct {
	text string
	x, y float64
}

// labels reads the upright texts of a picture.
func labels(t *testing.T, svg []byte) []label {
	t.Helper()
	var out []label
	for _, m := range regexp.MustCompile(`<text x="([^"]*)" y="([^"]*)"[^>]*>([^<]*)</text>`).FindAllStringSubmatch(string(svg), -1) {
		x, err1 := strconv.ParseFloat(m[1], 64)
		y, err2 := strconv.ParseFloat(m[2], 64)
		if err1 != nil || err2 != nil {
			t.Fatalf("text at %s, %s", m[1], m[2])
		}
		out = append(out, label{m[3], x, y})
	}
	return out
}

type drawFunc func(setup.Run, *analysis.Result, units.System, Size) (*Picture, error)

func drawn(t *testing.T, f drawFunc, run setup.Run, r *analysis.Result, u units.System, size Size) []byte {
	t.Helper()
	picture, err := f(run, r, u, size)
	if err != nil {
		t.Fatal(err)
	}
	return picture.SVG()
}

func pressure(t *testing.T, run setup.Run, r *analysis.Result, u units.System) []byte {
	t.Helper()
	return drawn(t, Pressure, run, r, u, Wide)
}

func tidy(t *testing.T, name string, p *Picture) {
	t.Helper()
	for _, bad := range drawingtest.Untidy(p.Drawing) {
		t.Errorf("%s: %s", name, bad)
	}
}

func TestTextsOfAPictureNeverOverlapOrRunOff(t *testing.T) {
	for _, n := range []int{1, 2, 7, 12, 25, 60, 200} {
		for _, u := range []units.System{{}, {Depth: units.Foot, Pressure: units.PoundPerIn}, {Pressure: units.KPa}, {Language: "de"}} {
			for _, failed := range []bool{false, true} {
				run, r := stairs(n)
				for i := range r.Stages {
					r.Stages[i].Name += strings.Repeat(" of the long night", i%3)
				}
				if failed {
					at := r.Stages[len(r.Stages)-1].Start
					r.Verdict.FirstFailure = &analysis.FirstFailure{Time: at, TimeLow: at.Add(-time.Minute), TimeHigh: at.Add(time.Minute), DepthM: 5 * float64(n)}
					r.Events = []analysis.Event{{Kind: "step", Time: at}, {Kind: "wet", Time: at}, {Kind: "run", Time: noon}, {Kind: "fault", Time: noon}, {Kind: "note", Time: noon}}
				}
				for name, f := range map[string]drawFunc{"pressure": Pressure, "leak": Leak} {
					for _, size := range []Size{Wide, Half, Strip} {
						p, err := f(run, r, u, size)
						if err != nil {
							t.Fatal(err)
						}
						tidy(t, fmt.Sprintf("%s of %d stages, %v, %v", name, n, u, size), p)
					}
				}
			}
		}
	}
}

func TestTheSecondScaleIsDepthInTheWaterOfTheProfile(t *testing.T) {
	run, r := stairs(6)
	svg := pressure(t, run, r, units.System{})
	// At 20 m of fresh water of 8 °C at 46° north the gauge pressure is ρgh with
	// ρ = 999.85 kg/m³ (Kell 1975) and g = 9.807 m/s²: 1.961 bar, 2.974 absolute.
	var depth20, bar3, bar2 float64
	for _, l := range labels(t, svg) {
		switch {
		case l.text == "20" && l.x > 400:
			depth20 = -l.y
		case l.text == "3.0" && l.x < 100:
			bar3 = -l.y
		case l.text == "2.0" && l.x < 100:
			bar2 = -l.y
		}
	}
	if depth20 == 0 || bar3 == 0 || bar2 == 0 {
		t.Fatalf("marks not found: %v", labels(t, svg))
	}
	if got := 2 + (depth20-bar2)/(bar3-bar2); math.Abs(got-2.974) > 0.005 {
		t.Errorf("the mark of 20 m stands at %.3f bar absolute, want 2.974", got)
	}
}

func TestThereIsNoDepthScaleWithoutWaterOrPressureAtClosing(t *testing.T) {
	run, r := stairs(3)
	run.Profile.Water.Model = "brandy"
	if svg := pressure(t, run, r, units.System{}); bytes.Contains(svg, []byte("depth-equivalent")) {
		t.Error("a depth scale in an unknown water")
	}
	run, r = stairs(3)
	run.Unit.SealedPa, r.Conditions.RoomPa = 0, math.NaN()
	if svg := pressure(t, run, r, units.System{}); bytes.Contains(svg, []byte("depth-equivalent")) {
		t.Error("a depth scale without a zero")
	}
}

func TestAGapIsNotBridged(t *testing.T) {
	straight := make([]xy, 0, 100)
	for i := range 100 {
		if i < 40 || i >= 60 {
			straight = append(straight, xy{float64(i), 1})
		}
	}
	if got := pieces(straight, 100); len(got) != 2 {
		t.Errorf("%d pieces, want 2", len(got))
	}
	read := []analysis.Point{{Time: noon, Value: 1}, {Time: noon.Add(time.Second), Value: 1}, {Time: noon.Add(time.Hour), Value: 1}}
	fitted := []analysis.Point{{Time: noon.Add(500 * time.Millisecond), Value: 1}, {Time: noon.Add(30 * time.Minute), Value: 1}}
	for i := range 100 {
		read = append(read, analysis.Point{Time: noon.Add(time.Hour + time.Duration(i)*time.Second), Value: 1})
	}
	if got := difference(read, fitted, timeline{start: noon, span: 3700}, 1); len(got) != 1 {
		t.Errorf("a difference within the gap: %v", got)
	}
}

func TestTheCurveOfATightUnitEndsWithItsHold(t *testing.T) {
	run, r := stairs(4)
	line, _ := newTimeline(r)
	fitted := line.points(r.Curves.ChamberFittedPa, units.System{Pressure: units.Bar}.PressureValue)
	if got := betweenRamps(fitted, line, r.Stages); len(got) != 4 {
		t.Errorf("%d pieces for 4 holds", len(got))
	}
	if svg := pressure(t, run, r, units.System{}); !bytes.Contains(svg, []byte("a tight unit")) {
		t.Error("the key does not name the curve")
	}
}

func TestTicksAreRoundAndAtLeastTwo(t *testing.T) {
	for _, span := range [][2]float64{{0, 1}, {1.01, 13.01}, {-500, 40}, {47.3, 49.1}, {1026, 1027.6}, {-1e-4, 2e-4}, {0, 3e11}} {
		for n := 2; n < 10; n++ {
			got := niceTicks(span[0], span[1], n)
			if len(got) < 2 || len(got) > 2*n+3 {
				t.Errorf("%v in %d: %v", span, n, got)
			}
			for i, tick := range got {
				if tick.at < span[0]-1e-9 || tick.at > span[1]*(1+1e-9)+1e-9 || (i > 0 && tick.label == got[i-1].label) {
					t.Errorf("%v in %d: %v", span, n, got)
				}
			}
		}
	}
	for _, bad := range [][2]float64{{0, 0}, {2, 1}, {math.NaN(), 1}, {0, math.Inf(1)}, {1e17, 1e17 + 64}} {
		if got := niceTicks(bad[0], bad[1], 4); len(got) > 0 {
			t.Errorf("%v: %v", bad, got)
		}
	}
}

func TestTimesOfTheAxisAreRound(t *testing.T) {
	for span, want := range map[float64]string{95: "0:00:00 0:00:20 0:00:40 0:01:00 0:01:20", 2400: "0:00 0:10 0:20 0:30 0:40",
		9.5 * 3600: "0:00 2:00 4:00 6:00 8:00", 72 * 3600: "0:00 24:00 48:00 72:00"} {
		var got []string
		for _, tick := range timeTicks(span, 5) {
			got = append(got, tick.label)
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%g s: %v, want %s", span, got, want)
		}
	}
}

func TestTheLeakScaleBendsOnlyForRatesFarApart(t *testing.T) {
	if s := leakScale(-0.1, 0.6, 0.5); s.bend != 0 {
		t.Error("bent for rates of one size")
	}
	s := leakScale(-0.1, 1000, 0.5)
	if s.bend != 0.5 {
		t.Fatalf("not bent: %+v", s)
	}
	if s.share(s.low) != 0 || s.share(s.high) != 1 || !(s.share(0.5)-s.share(0) > 0.05) {
		t.Errorf("limit at %.3f of the height, zero at %.3f", s.share(0.5), s.share(0))
	}
}

func TestThePictureOfTheLeakShowsEveryHoldItsLimitAndItsDetection(t *testing.T) {
	run, r := stairs(7)
	r.Verdict.Holds[6].LeakMLPerH = nil
	svg := drawn(t, Leak, run, r, units.System{}, Half)
	for _, want := range []string{"limit 0.500", "detection limit", "95 % bounds", "not measured", ">35.0 m<", "Stage 6, 35.0 m: not measured"} {
		if !bytes.Contains(svg, []byte(want)) {
			t.Errorf("%q is missing", want)
		}
	}
}

func TestNothingToDrawIsSaidAndNotDrawn(t *testing.T) {
	for name, f := range map[string]drawFunc{"pressure": Pressure, "leak": Leak, "humidity": Humidity, "inside": InsidePressure} {
		if svg, err := f(setup.Run{}, &analysis.Result{}, units.System{}, Wide); !errors.Is(err, ErrNoData) || svg != nil {
			t.Errorf("%s: %v, %v", name, err, svg)
		}
	}
}

// TestTheMomentOfAFailureIsShownAsRead: the picture spans twice the interval, at
// least a minute to each side, and keeps the extremes of what it leaves out.
func TestTheMomentOfAFailureIsShownAsRead(t *testing.T) {
	at := time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC)
	f := &analysis.FirstFailure{Time: at, TimeLow: at.Add(-time.Second), TimeHigh: at.Add(time.Second), DepthM: 30}
	from, to := MomentSpan(f)
	if to.Sub(from) != 2*time.Minute {
		t.Errorf("spans %v", to.Sub(from))
	}
	var chamber []analysis.Point
	for i := range 12000 {
		p := analysis.Point{Time: from.Add(time.Duration(i) * 10 * time.Millisecond), Value: 4e5}
		if p.Time.After(at) {
			p.Value = 3.2e5
		}
		chamber = append(chamber, p)
	}
	chamber[3000].Value = 4.4e5
	thin := Thin(chamber, 400)
	if len(thin) > 400 || !slices.ContainsFunc(thin, func(p analysis.Point) bool { return p.Value == 4.4e5 }) {
		t.Errorf("%d points, without the spike", len(thin))
	}
	picture, err := Moment(f, thin, nil, units.System{}, Half)
	if err != nil {
		t.Fatal(err)
	}
	svg := picture.SVG()
	if !bytes.Contains(svg, []byte("s from the moment it began to fail")) || !bytes.Contains(svg, []byte(">−50<")) {
		t.Errorf("%.500s", svg)
	}
	if _, err := Moment(f, nil, nil, units.System{}, Half); !errors.Is(err, ErrNoData) {
		t.Errorf("without readings: %v", err)
	}
	if _, err := Moment(nil, thin, nil, units.System{}, Half); !errors.Is(err, ErrNoData) {
		t.Errorf("without a failure: %v", err)
	}
}

func TestWrongSizesAndUnitsAreRefused(t *testing.T) {
	run, r := stairs(2)
	for _, size := range []Size{{}, {Width: 50, Height: 500}, {Width: math.NaN(), Height: 200}, {Width: 1e9, Height: 200}} {
		if _, err := Pressure(run, r, units.System{}, size); err == nil {
			t.Errorf("size %v was taken", size)
		}
	}
	if _, err := Leak(run, r, units.System{Depth: "yd"}, Half); err == nil {
		t.Error("a depth in yards was taken")
	}
}

func TestNoPictureHasStyleScriptOrForeignNames(t *testing.T) {
	run, r := stairs(3)
	r.Stages[2].Name = `</text><script>"&'`
	svg := pressure(t, run, r, units.System{})
	decoder := xml.NewDecoder(bytes.NewReader(svg))
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if start, ok := token.(xml.StartElement); ok {
			if !slices.Contains([]string{"svg", "g", "path", "circle", "text", "title", "desc"}, start.Name.Local) {
				t.Errorf("element %s", start.Name.Local)
			}
			for _, a := range start.Attr {
				if a.Name.Local == "style" || strings.HasPrefix(a.Name.Local, "on") || strings.Contains(a.Name.Local, "href") {
					t.Errorf("attribute %s", a.Name.Local)
				}
			}
		}
	}
}

// The Magnus form of WMO-No. 8 as tabled in testdata, and that of IAPWS-IF97
// above 0 °C to 0.05 K.
func TestTheDewPointIsThatOfTheTables(t *testing.T) {
	text, err := os.ReadFile("testdata/dewpoint.csv")
	if err != nil {
		t.Fatal(err)
	}
	checked := 0
	for line := range strings.Lines(string(text)) {
		cells := strings.Split(strings.TrimSpace(line), ",")
		celsius, err := strconv.ParseFloat(cells[0], 64)
		if err != nil {
			continue
		}
		rh, _ := strconv.ParseFloat(cells[1], 64)
		wmo, err := strconv.ParseFloat(cells[4], 64)
		if err != nil {
			t.Fatal(err)
		}
		if celsius > 60 {
			continue
		}
		got := DewPointC(rh, celsius)
		if math.Abs(got-wmo) > 1e-3 {
			t.Errorf("%g %% at %g °C: %.4f, WMO %.4f", rh, celsius, got, wmo)
		}
		if steam, err := strconv.ParseFloat(cells[3], 64); err == nil && math.Abs(got-steam) > 0.05 {
			t.Errorf("%g %% at %g °C: %.4f, IF97 %.4f", rh, celsius, got, steam)
		}
		checked++
	}
	if checked < 20 {
		t.Errorf("only %d rows checked", checked)
	}
	for _, bad := range [][2]float64{{0, 20}, {-3, 20}, {50, -46}, {50, 61}, {math.NaN(), 20}, {50, math.NaN()}} {
		if got := DewPointC(bad[0], bad[1]); !math.IsNaN(got) {
			t.Errorf("%v gives %g", bad, got)
		}
	}
}

func BenchmarkPressure(b *testing.B) {
	run, r := stairs(12)
	for b.Loop() {
		if _, err := Pressure(run, r, units.System{}, Wide); err != nil {
			b.Fatal(err)
		}
	}
}
