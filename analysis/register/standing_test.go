package register

import (
	"math"
	"strings"
	"testing"
	"time"

	"proofpot/profiles"

	"pgregory.net/rapid"
)

var (
	sea   = profiles.Water{Model: "sea", SalinityGKg: 35, TemperatureC: 12, LatitudeDeg: 58}
	fresh = profiles.Water{Model: "fresh", TemperatureC: 6, LatitudeDeg: 46}
	day0  = time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)
)

func on(day int) time.Time { return day0.AddDate(0, 0, day) }

func passed(day int, ratedM float64) Event {
	return Event{Unit: "KP-01", Kind: Tested, At: on(day), Test: &Test{Record: "20260301T090000Z-KP-01", Verdict: "pass",
		ProvedM: 1.25 * ratedM, RatedM: ratedM, Water: sea, SealedPa: 101325, WaterMinC: 10, WaterMaxC: 14, HoldS: 3600, LeakMLPerH: 0.05}}
}

func happened(day int, kind Kind) Event { return Event{Unit: "KP-01", Kind: kind, At: on(day)} }

func dived(day int, depthM, waterC float64) Event {
	return Event{Unit: "KP-01", Kind: Dived, At: on(day), Dive: &Dive{DepthM: depthM, Minutes: 40, WaterC: waterC, HasWater: true}}
}

func standing(t testing.TB, day int, events ...Event) Standing {
	t.Helper()
	s, err := At(on(day), "KP-01", events, DefaultRules())
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestATestHoldsUntilSomethingHappens(t *testing.T) {
	if s := standing(t, 2, happened(0, Closed), passed(1, 30)); !s.Valid || s.Test == nil || !s.Shut {
		t.Errorf("a unit closed and tested: %+v", s)
	}
	for _, kind := range []Kind{Opened, Replaced, Repaired, Struck, Wetted, Closed} {
		s := standing(t, 3, happened(0, Closed), passed(1, 30), happened(2, kind))
		if s.Valid || len(s.Ended) != 1 {
			t.Errorf("%s: valid %v, ended %v", kind, s.Valid, s.Ended)
		}
		if s := standing(t, 5, happened(0, Closed), passed(1, 30), happened(2, kind), passed(4, 30)); !s.Valid {
			t.Errorf("%s and tested anew: %v", kind, s.Ended)
		}
	}
	if s := standing(t, 3, happened(0, Closed), passed(1, 30), happened(2, Noted)); !s.Valid {
		t.Errorf("a note ended it: %v", s.Ended)
	}
}

func TestATestEndsByDateDivesDepthAndWarmth(t *testing.T) {
	if s := standing(t, 366+1, passed(0, 30)); s.Valid {
		t.Error("a year and a day after, it holds still")
	}
	var many []Event
	for i := range 51 {
		many = append(many, dived(1+i, 20, 12))
	}
	if s := standing(t, 60, append(many[:50:50], passed(0, 30))...); !s.Valid || s.Dives != 50 {
		t.Errorf("50 dives: %+v", s)
	}
	if s := standing(t, 60, append(many, passed(0, 30))...); s.Valid {
		t.Error("51 dives, and it holds still")
	}
	if s := standing(t, 3, passed(0, 30), dived(1, 38.5, 12)); s.Valid {
		t.Error("dived deeper than it was proved, and it holds still")
	}
	if s := standing(t, 3, passed(0, 30), dived(1, 33, 12)); !s.Valid || len(s.Remarks) != 1 {
		t.Errorf("dived below its rating: %+v", s)
	}
	if s := standing(t, 3, passed(0, 30), dived(1, 20, 24)); s.Valid {
		t.Error("dived in water ten degrees warmer than tested, and it holds still")
	}
	if s := standing(t, 3, passed(0, 30), dived(1, 20, -1)); !s.Valid || len(s.Remarks) != 1 {
		t.Errorf("dived in colder water: %+v", s)
	}
}

func TestAFailedOrUndecidedTestEndsThePassBeforeIt(t *testing.T) {
	for _, verdict := range []string{"fail", "inconclusive"} {
		bad := passed(2, 30)
		bad.Test = &Test{Record: "r2", Verdict: verdict, Water: sea}
		if s := standing(t, 3, passed(1, 30), bad); s.Valid || len(s.Ended) != 1 || s.Wet != (verdict == "fail") {
			t.Errorf("%s: %+v", verdict, s)
		}
		if s := standing(t, 3, bad); s.Valid || s.Test != nil || len(s.Ended) != 1 {
			t.Errorf("%s alone: %+v", verdict, s)
		}
	}
}

func TestWhatLiesAheadDoesNotCountYet(t *testing.T) {
	if s := standing(t, 1, passed(0, 30), happened(2, Opened)); !s.Valid {
		t.Errorf("opened tomorrow, ended today: %v", s.Ended)
	}
}

// TestNothingThatHappensMakesAUnitFitter: adding any event but a passed test
// never turns what is not valid into what is.
func TestNothingThatHappensMakesAUnitFitter(t *testing.T) {
	kinds := []Kind{Closed, Opened, Replaced, Repaired, Struck, Wetted, Noted}
	rapid.Check(t, func(rt *rapid.T) {
		var events []Event
		for range rapid.IntRange(0, 12).Draw(rt, "events") {
			day := rapid.IntRange(0, 400).Draw(rt, "day")
			switch rapid.IntRange(0, 2).Draw(rt, "what") {
			case 0:
				events = append(events, happened(day, rapid.SampledFrom(kinds).Draw(rt, "kind")))
			case 1:
				events = append(events, dived(day, rapid.Float64Range(1, 60).Draw(rt, "depth"), rapid.Float64Range(-1, 30).Draw(rt, "water")))
			default:
				events = append(events, passed(day, rapid.Float64Range(5, 60).Draw(rt, "rated")))
			}
		}
		now := rapid.IntRange(0, 500).Draw(rt, "now")
		before := standing(t, now, events...)
		day := rapid.IntRange(0, 400).Draw(rt, "another day")
		another := happened(day, rapid.SampledFrom(kinds).Draw(rt, "another"))
		if rapid.Bool().Draw(rt, "dive") {
			another = dived(day, rapid.Float64Range(1, 60).Draw(rt, "its depth"), 12)
		}
		if after := standing(t, now, append(events, another)...); after.Valid && !before.Valid {
			rt.Fatalf("%v made it valid", another)
		}
	})
}

// TestTheLoadOnTheWallIsThatOfTheWaterAndTheAirInside: at the lake's surface the
// air inside presses outward by what the altitude takes off: 1,800 m, 81.5 kPa by
// the US Standard Atmosphere 1976.
func TestTheLoadOnTheWallIsThatOfTheWaterAndTheAirInside(t *testing.T) {
	lake := fresh
	lake.AltitudeM = 1800
	surface, err := LoadPa(lake, 0, 101325)
	if err != nil || math.Abs(surface-(81494-101325)) > 30 {
		t.Errorf("at the surface of a lake at 1,800 m: %.0f Pa, %v", surface, err)
	}
	deep, err := LoadPa(lake, 20, 101325)
	if err != nil || math.Abs(deep-surface-196.1e3) > 200 { // 20 m of water of 1000 kg/m³ at g = 9.806 m/s²
		t.Errorf("20 m below it: %.0f Pa more, %v", deep-surface, err)
	}
}

func TestAnEventThatCannotBeIsRefused(t *testing.T) {
	good := dived(1, 20, 12)
	for name, wrong := range map[string]func(e *Event){
		"no unit":        func(e *Event) { e.Unit = "" },
		"unknown kind":   func(e *Event) { e.Kind = "lost" },
		"no time":        func(e *Event) { e.At = time.Time{} },
		"no dive":        func(e *Event) { e.Dive = nil },
		"depth":          func(e *Event) { e.Dive.DepthM = -3 },
		"depth NaN":      func(e *Event) { e.Dive.DepthM = math.NaN() },
		"minutes":        func(e *Event) { e.Dive.Minutes = math.Inf(1) },
		"boiling water":  func(e *Event) { e.Dive.WaterC = 90 },
		"a test besides": func(e *Event) { e.Test = passed(0, 3).Test },
	} {
		e := good
		d := *good.Dive
		e.Dive = &d
		wrong(&e)
		if err := e.Check(); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", name, err)
		}
	}
	over := passed(0, 30)
	over.Test.RatedM = over.Test.ProvedM + 1
	if over.Check() == nil {
		t.Error("rated deeper than proved")
	}
}
