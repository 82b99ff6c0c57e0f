package register

import (
	"bytes"
	"os"
	"strings"
	"testing"
	"time"

	"proofpot/profiles"
	"proofpot/profiles/strict"

	"pgregory.net/rapid"
)

func lakeTrip(deepest float64) *Trip {
	return &Trip{Name: "Week at the mountain lake", Departure: on(30), Days: 7, Water: fresh,
		Units: []Need{{ID: "KP-01", DeepestM: deepest, Dives: 6, Minutes: 40}}}
}

var bench = []Candidate{
	{"proof-20m-sea", sea, 20, 2 * time.Hour}, {"proof-30m-sea", sea, 30, 2*time.Hour + 10*time.Minute},
	{"proof-40m-sea", sea, 40, 3 * time.Hour}, {"soak", sea, 40, 14 * time.Hour},
}

func judged(t testing.TB, trip *Trip, events ...Event) Answer {
	t.Helper()
	a, err := Judge(on(10), trip, events, DefaultRules(), bench)
	if err != nil {
		t.Fatal(err)
	}
	return a[0]
}

func TestAUnitIsFitWhereItsTestCarriesTheTrip(t *testing.T) {
	if a := judged(t, lakeTrip(20), passed(1, 30)); a.Fitness != Fit || len(a.Remarks) > 0 {
		t.Errorf("20 m with a rating of 30 m: %s %v %v", a.Fitness, a.Why, a.Remarks)
	}
	if a := judged(t, lakeTrip(29), passed(1, 30)); a.Fitness != WithRemark {
		t.Errorf("29 m of fresh water with a rating of 30 m of sea: %s", a.Fitness)
	}
}

// TestFreshWaterIsLighterThanTheSea: 30.5 m of fresh water of 6 °C load less
// than 30 m of sea water (1000.0 against 1026.5 kg/m³), 31 m load more.
func TestFreshWaterIsLighterThanTheSea(t *testing.T) {
	if a := judged(t, lakeTrip(30.5), passed(1, 30)); a.Fitness == NotFit {
		t.Errorf("30.5 m: %v", a.Why)
	}
	if a := judged(t, lakeTrip(31), passed(1, 30)); a.Fitness != NotFit || a.Test == nil || a.Test.Profile != "proof-40m-sea" {
		t.Errorf("31 m: %s, %+v", a.Fitness, a.Test)
	}
}

// TestADepthIsProposedInTheTripsKindOfWater: 20.2 m of fresh water load a wall
// less than 20 m of sea water do, and more than 20 m of fresh water. A profile for
// fresh water is proposed where there is one, though the other is shorter; else
// the other, with what its depth is there (20 · 1026.5/1000 m, some 20.5 m).
func TestADepthIsProposedInTheTripsKindOfWater(t *testing.T) {
	lake := fresh
	lake.TemperatureC = 8
	both := append([]Candidate{{"proof-20m-fresh", lake, 20, 3 * time.Hour}, {"proof-30m-fresh", lake, 30, 4 * time.Hour}}, bench...)
	for _, c := range []struct {
		deepestM float64
		has      []Candidate
		want     string
		other    bool
	}{{18, both, "proof-20m-fresh", false}, {20.2, both, "proof-30m-fresh", false}, {20.2, bench, "proof-20m-sea", true}, {35, both, "proof-40m-sea", true}} {
		a, err := Judge(on(10), lakeTrip(c.deepestM), nil, DefaultRules(), c.has)
		if err != nil || a[0].Test == nil || a[0].Test.Profile != c.want || a[0].Test.Other != c.other {
			t.Errorf("%g m: %+v, %v; want %s", c.deepestM, a[0].Test, err, c.want)
			continue
		}
		p := a[0].Test
		line := p.line()
		if !strings.Contains(line, p.Water) || strings.Contains(line, "no profile for the trip's kind of water") != c.other {
			t.Errorf("%g m: %s", c.deepestM, line)
		}
		if ratio := p.ThereM / p.RatedM; c.other && !(ratio > 1.02 && ratio < 1.035) || !c.other && !(ratio > 0.995 && ratio < 1.005) {
			t.Errorf("%s: rates for %.2f m, said to be %.2f m there", p.Profile, p.RatedM, p.ThereM)
		}
	}
}

func TestWhatMakesAUnitNotFit(t *testing.T) {
	long := lakeTrip(20)
	long.Days = 360
	warm := lakeTrip(20)
	warm.Water.TemperatureC = 22
	often := lakeTrip(20)
	often.Units[0].Dives = 51
	for name, c := range map[string]struct {
		trip   *Trip
		events []Event
		why    string
	}{
		"never tested":         {lakeTrip(20), []Event{happened(1, Closed)}, "no test"},
		"never heard of":       {lakeTrip(20), nil, "neither a closure nor a test"},
		"opened since":         {lakeTrip(20), []Event{passed(1, 30), happened(2, Opened)}, "no longer holds"},
		"test ends on the way": {long, []Event{passed(1, 30)}, "before the trip does"},
		"too many dives":       {often, []Event{passed(1, 30)}, "more than 50"},
		"warmer than tested":   {warm, []Event{passed(1, 30)}, "warmer"},
		"wet":                  {lakeTrip(20), []Event{passed(1, 30), happened(2, Wetted)}, "water was found"},
	} {
		a := judged(t, c.trip, c.events...)
		if a.Fitness != NotFit || !strings.Contains(strings.Join(a.Why, "; "), c.why) {
			t.Errorf("%s: %s %q", name, a.Fitness, a.Why)
		}
		if a.Test == nil || a.Test.Profile != "proof-20m-sea" {
			t.Errorf("%s: the shortest test that would do is proof-20m-sea, not %+v", name, a.Test)
		}
	}
}

func TestAStruckUnitIsLookedOverFirst(t *testing.T) {
	a := judged(t, lakeTrip(20), passed(1, 30), happened(2, Struck))
	if a.Fitness != NotFit || !strings.Contains(strings.Join(a.First, " "), "cracks") {
		t.Errorf("%s, first: %q", a.Fitness, a.First)
	}
	if got, want := sentences([]string{"opened", "first: Close it."}), "Opened. First: Close it."; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

func TestWetCellsAreQuarantined(t *testing.T) {
	trip := lakeTrip(20)
	trip.Units[0].Batteries = "inside"
	a := judged(t, trip, passed(1, 30), happened(2, Wetted))
	if !strings.Contains(strings.Join(a.First, " "), "Treat its cells as flooded") {
		t.Errorf("first: %q", a.First)
	}
}

// TestATripNeverForgivesMore: deeper, warmer, longer or more dives never make a
// unit fitter.
func TestATripNeverForgivesMore(t *testing.T) {
	rank := map[Fitness]int{Fit: 2, WithRemark: 1, NotFit: 0}
	rapid.Check(t, func(rt *rapid.T) {
		trip := lakeTrip(rapid.Float64Range(1, 50).Draw(rt, "depth"))
		trip.Water.TemperatureC = rapid.Float64Range(4, 25).Draw(rt, "water")
		trip.Days = rapid.IntRange(1, 300).Draw(rt, "days")
		events := []Event{passed(rapid.IntRange(0, 9).Draw(rt, "tested"), rapid.Float64Range(5, 60).Draw(rt, "rated"))}
		before := judged(t, trip, events...)
		harder := *trip
		harder.Units = []Need{trip.Units[0]}
		harder.Units[0].DeepestM += rapid.Float64Range(0, 20).Draw(rt, "deeper")
		harder.Units[0].Dives += rapid.IntRange(0, 60).Draw(rt, "more")
		harder.Units[0].Minutes += rapid.Float64Range(0, 100).Draw(rt, "longer")
		harder.Days += rapid.IntRange(0, 60).Draw(rt, "days more")
		if after := judged(t, &harder, events...); rank[after.Fitness] > rank[before.Fitness] {
			rt.Fatalf("%s became %s", before.Fitness, after.Fitness)
		}
	})
}

func TestTheOrderFinishesWhatItCanBeforeTheDeparture(t *testing.T) {
	trip := lakeTrip(20)
	trip.Units = nil
	var answers []Answer
	for _, c := range []struct {
		id    string
		takes time.Duration
		first []string
	}{{"KP-05", 3 * time.Hour, nil}, {"KP-06", time.Hour, []string{"mend it"}}, {"KP-07", 2 * time.Hour, nil}, {"KP-08", 14 * time.Hour, nil}} {
		answers = append(answers, Answer{Need: Need{ID: c.id}, Fitness: NotFit, First: c.first, Test: &Proposal{Profile: "p", RatedM: 30, Takes: c.takes}})
	}
	answers = append(answers, Answer{Need: Need{ID: "KP-09"}, Fitness: Fit})
	trip.Departure = day0.Add(50 * time.Hour)
	slots, total := Order(day0, trip, answers, DefaultRules())
	var order []string
	for i, s := range slots {
		order = append(order, s.Unit)
		if i > 0 && s.Start.Before(slots[i-1].End) {
			t.Errorf("%s begins before %s ends", s.Unit, slots[i-1].Unit)
		}
		if s.InTime != !s.End.After(trip.Departure) {
			t.Errorf("%s: in time %v, ends %v", s.Unit, s.InTime, s.End)
		}
	}
	if got := strings.Join(order, " "); got != "KP-07 KP-05 KP-08 KP-06" || total != 20*time.Hour {
		t.Errorf("order %s, total %v", got, total)
	}
}

// TestNobodyIsSentToTheBenchAtNight: a test begins within the bench's hours, and
// not the evening before if it would end after them.
func TestNobodyIsSentToTheBenchAtNight(t *testing.T) {
	rules := DefaultRules() // 8 to 16 o'clock
	for _, c := range []struct {
		now   time.Duration // after midnight
		takes time.Duration
		want  time.Duration
	}{{0, 2 * time.Hour, 8 * time.Hour}, {9 * time.Hour, 2 * time.Hour, 9 * time.Hour}, {15 * time.Hour, 2 * time.Hour, 32 * time.Hour},
		{23 * time.Hour, 2 * time.Hour, 32 * time.Hour}, {9 * time.Hour, 14 * time.Hour, 32 * time.Hour}, {7 * time.Hour, 14 * time.Hour, 8 * time.Hour}} {
		midnight := day0.Truncate(24 * time.Hour)
		answers := []Answer{{Need: Need{ID: "KP-05"}, Fitness: NotFit, Test: &Proposal{Profile: "p", RatedM: 30, Takes: c.takes}}}
		slots, _ := Order(midnight.Add(c.now), lakeTrip(20), answers, rules)
		if got := slots[0].Start.Sub(midnight); got != c.want {
			t.Errorf("asked at %v, a test of %v begins at %v, want %v", c.now, c.takes, got, c.want)
		}
	}
}

func TestTheCalendarIsWellFormed(t *testing.T) {
	s, err := At(on(2), "KP-01", []Event{passed(1, 30)}, DefaultRules())
	if err != nil {
		t.Fatal(err)
	}
	ics := Calendar(on(2), DueDates([]Standing{s}, []Slot{{Unit: "KP-02", Proposal: Proposal{Profile: "proof; 30, sea with a name that is far too long for a line of a calendar, är", RatedM: 30, Takes: time.Hour}, Start: on(3)}}))
	for line := range bytes.SplitSeq(bytes.TrimSuffix(ics, []byte("\r\n")), []byte("\r\n")) {
		if len(line) > 75 { // RFC 5545, 3.1
			t.Errorf("a line of %d octets: %s", len(line), line)
		}
	}
	unfolded := strings.ReplaceAll(string(ics), "\r\n ", "")
	for _, want := range []string{"BEGIN:VCALENDAR\r\nVERSION:2.0\r\n", "DTSTART;VALUE=DATE:20270302\r\n", "SUMMARY:Test of KP-01 ends\r\n", `proof\; 30\, sea with`, "är\r\n", "END:VCALENDAR\r\n"} {
		if !strings.Contains(unfolded, want) {
			t.Errorf("%q is missing in\n%s", want, unfolded)
		}
	}
	if strings.Count(unfolded, "BEGIN:VEVENT") != 2 || strings.Count(unfolded, "END:VEVENT") != 2 {
		t.Error("two events were asked for")
	}
}

func TestATripThatCannotBeIsRefused(t *testing.T) {
	for name, wrong := range map[string]func(*Trip){
		"no name":    func(t *Trip) { t.Name = " " },
		"no day":     func(t *Trip) { t.Departure = time.Time{} },
		"no units":   func(t *Trip) { t.Units = nil },
		"no days":    func(t *Trip) { t.Days = 0 },
		"depth":      func(t *Trip) { t.Units[0].DeepestM = 0 },
		"twice":      func(t *Trip) { t.Units = append(t.Units, t.Units[0]) },
		"dives":      func(t *Trip) { t.Units[0].Dives = 0 },
		"minutes":    func(t *Trip) { t.Units[0].Minutes = -1 },
		"cells":      func(t *Trip) { t.Units[0].Batteries = "some" },
		"odd liquid": func(t *Trip) { t.Water = profiles.Water{Model: "beer"} },
	} {
		trip := lakeTrip(20)
		wrong(trip)
		if err := trip.Check(); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", name, err)
		}
	}
	if err := lakeTrip(20).Check(); err != nil {
		t.Error(err)
	}
}

func TestTheExampleOfTheRulesIsWhatHoldsWithoutAny(t *testing.T) {
	data, err := os.ReadFile("testdata/rules.toml")
	if err != nil {
		t.Fatal(err)
	}
	var rules Rules
	if err := strict.Decode("rules.toml", data, &rules); err != nil {
		t.Fatal(err)
	}
	if rules != DefaultRules() || rules.Check() != nil {
		t.Errorf("%+v", rules)
	}
}

func TestTheExampleOfATripIsSound(t *testing.T) {
	data, err := os.ReadFile("testdata/lake-week.toml")
	if err != nil {
		t.Fatal(err)
	}
	var trip Trip
	if err := strict.Decode("lake-week.toml", data, &trip); err != nil {
		t.Fatal(err)
	}
	if err := trip.Check(); err != nil || len(trip.Units) != 2 {
		t.Errorf("%v, %d units", err, len(trip.Units))
	}
}
