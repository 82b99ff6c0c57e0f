package register

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"proofpot/profiles"
)

// Trip is what a person writes: where, when, how deep, with which units.
type Trip struct {
	Name      string         `toml:"name"`
	Departure time.Time      `toml:"departure"`
	Days      int            `toml:"days"`
	Water     profiles.Water `toml:"water"`
	Units     []Need         `toml:"unit"`
}

// Need is what one unit is to do on a trip.
type Need struct {
	ID        string  `toml:"id"`
	DeepestM  float64 `toml:"deepest_m"`
	Dives     int     `toml:"dives"`
	Descents  int     `toml:"descents,omitempty"`  // how often it is let down in one; 0: once
	Minutes   float64 `toml:"minutes"`             // of the longest dive
	Batteries string  `toml:"batteries,omitempty"` // "inside", "none" or empty
}

// Check says what is wrong with a trip, in one line.
func (t *Trip) Check() error {
	switch {
	case strings.TrimSpace(t.Name) == "":
		return fmt.Errorf("name: the trip needs one")
	case t.Departure.IsZero():
		return fmt.Errorf("departure: the day is missing; write it as 2026-06-01T06:00:00Z")
	case t.Days < 1 || t.Days > 366:
		return fmt.Errorf("days: %d must be 1 to 366", t.Days)
	case len(t.Units) == 0:
		return fmt.Errorf("unit: a trip needs at least one [[unit]]")
	}
	if err := t.Water.Check(); err != nil {
		return fmt.Errorf("water: %w", err)
	}
	seen := map[string]bool{}
	for i, u := range t.Units {
		switch {
		case u.ID == "":
			return fmt.Errorf("unit[%d].id: which unit?", i)
		case seen[u.ID]:
			return fmt.Errorf("unit[%d].id: %q is packed twice", i, u.ID)
		case !(u.DeepestM > 0 && u.DeepestM <= 1200):
			return fmt.Errorf("unit[%d].deepest_m: %g must be above 0 and at most 1200 m", i, u.DeepestM)
		case u.Dives < 1 || u.Dives > 1000:
			return fmt.Errorf("unit[%d].dives: %d must be 1 to 1000", i, u.Dives)
		case u.Descents < 0 || u.Descents > 10000:
			return fmt.Errorf("unit[%d].descents: %d must be 1 to 10000, or left out", i, u.Descents)
		case !(u.Minutes > 0 && u.Minutes <= 1e5):
			return fmt.Errorf("unit[%d].minutes: %g must be above 0: minutes of the longest dive", i, u.Minutes)
		case !slices.Contains([]string{"", "inside", "none"}, u.Batteries):
			return fmt.Errorf("unit[%d].batteries: %q is neither \"inside\" nor \"none\"", i, u.Batteries)
		}
		seen[u.ID] = true
	}
	return nil
}

// Back is when the trip ends.
func (t *Trip) Back() time.Time { return t.Departure.AddDate(0, 0, t.Days) }

// Fitness is the answer for one unit. Anything not known makes it not fit.
type Fitness string

// The answers.
const (
	Fit        Fitness = "fit"
	WithRemark Fitness = "fit with a remark"
	NotFit     Fitness = "not fit"
)

// Answer is what the register says of one unit and a trip.
type Answer struct {
	Need     Need
	Fitness  Fitness
	Why      []string // not fit: the reasons; else what it rests on
	Remarks  []string
	Standing Standing
	First    []string // what a person must do before a test can help
	Test     *Proposal
}

// Proposal is a test that would make a unit fit.
type Proposal struct {
	Profile string
	RatedM  float64 // what it rates for, m of its own water
	Water   string  // that, in words
	ThereM  float64 // the depth in the trip's water with the same load on the wall, m
	Other   bool    // the trip's water is of another kind: the two depths differ
	Takes   time.Duration
}

// Candidate is a profile that the bench can run, for a proposal.
type Candidate struct {
	Profile string
	Water   profiles.Water
	RatedM  float64
	Takes   time.Duration
}

// Judge says of each unit of a trip whether it is fit for it, by what the
// register knows now, and which of the candidates' tests would make it fit.
func Judge(now time.Time, t *Trip, events []Event, rules Rules, candidates []Candidate) ([]Answer, error) {
	var answers []Answer
	for _, need := range t.Units {
		s, err := At(now, need.ID, events, rules)
		if err != nil {
			return nil, fmt.Errorf("unit %s: %w", need.ID, err)
		}
		a := Answer{Need: need, Standing: s, Fitness: Fit}
		if err := a.weigh(t, rules); err != nil {
			return nil, fmt.Errorf("unit %s: %w", need.ID, err)
		}
		if a.Fitness == NotFit {
			if err := a.propose(t, candidates); err != nil {
				return nil, fmt.Errorf("unit %s: %w", need.ID, err)
			}
		}
		answers = append(answers, a)
	}
	return answers, nil
}

func (a *Answer) not(format string, args ...any) {
	a.Fitness = NotFit
	a.Why = append(a.Why, fmt.Sprintf(format, args...))
}

func (a *Answer) remark(format string, args ...any) {
	if a.Fitness == Fit {
		a.Fitness = WithRemark
	}
	a.Remarks = append(a.Remarks, fmt.Sprintf(format, args...))
}

func (a *Answer) weigh(t *Trip, rules Rules) error {
	s, need := &a.Standing, a.Need
	for _, r := range s.Remarks {
		a.remark("%s", r)
	}
	if s.Wet {
		a.not("water was found inside or its last test failed, and nothing was mended since")
		if need.Batteries == "inside" {
			a.First = append(a.First, "Treat its cells as flooded: out of doors, away from people and anything that burns, for at least a day; hand them in as damaged.")
		}
	}
	if s.Test == nil {
		if s.Last == nil {
			a.not("the register has neither a closure nor a test of it; is its name written as there?")
		} else {
			a.not("no test of it was passed")
		}
		a.Why = append(a.Why, s.Ended...)
		return nil
	}
	if !s.Valid {
		a.not("its test of %s no longer holds", s.Tested.UTC().Format(time.DateOnly))
		a.Why = append(a.Why, s.Ended...)
	}
	proved, rated, err := s.Test.provenPa()
	if err != nil {
		return err
	}
	load, err := LoadPa(t.Water, need.DeepestM, s.sealedPa())
	if err != nil {
		return err
	}
	bar := func(pa float64) string { return fmt.Sprintf("%.2f bar", pa/1e5) }
	there, err := depthThere(t.Water, rated, s.sealedPa())
	if err != nil {
		return err
	}
	ratedFor := fmt.Sprintf("%s (%.1f m of %s, %.1f m there)", bar(rated), s.Test.RatedM, s.Test.Water.Kind(), there)
	switch {
	case load > rated:
		a.not("%.1f m in that water loads its wall with %s; it is rated for %s", need.DeepestM, bar(load), ratedFor)
	case load > rules.NearShare*rated:
		a.remark("%.1f m is close to its rated depth: %s of %s", need.DeepestM, bar(load), bar(rated))
	}
	if a.Fitness != NotFit {
		a.Why = append(a.Why, fmt.Sprintf("tested %s, proved %s, rated %s; the trip loads it with %s",
			s.Tested.UTC().Format(time.DateOnly), bar(proved), ratedFor, bar(load)))
	}
	if s.Valid && t.Back().After(s.Until) {
		a.not("its test ends on %s, before the trip does", s.Until.UTC().Format(time.DateOnly))
	}
	if total := s.Dives + need.Dives; rules.Dives > 0 && total > rules.Dives {
		a.not("%d dives since its test and %d to come are more than %d", s.Dives, need.Dives, rules.Dives)
	}
	if come := need.Dives * max(1, need.Descents); rules.Cycles > 0 && s.Cycles+come > rules.Cycles {
		a.not("let down %d times since its test and %d to come are more than %d", s.Cycles, come, rules.Cycles)
	}
	a.weather(t, rules)
	if s.Test.HoldS > 0 && need.Minutes*60 > s.Test.HoldS {
		a.remark("a dive of %.0f min is longer than the %.0f min for which it was watched at depth", need.Minutes, s.Test.HoldS/60)
	}
	if up := s.Test.LeakMLPerH; up > 0 && rules.LeakMostML > 0 {
		if most := up * need.Minutes / 60 * float64(need.Dives); most > rules.LeakMostML {
			a.remark("its test cannot exclude %.1f ml of water over the trip's dives (upper bound %.2g ml/h); dry it between dives", most, up)
		}
	}
	if surface, err := LoadPa(t.Water, 0, s.sealedPa()); err == nil && surface < -5e3 {
		a.remark("closed at a higher pressure than up there: %s press outward at the surface; close it at the water, and test it as closed", bar(-surface))
	}
	if need.Batteries == "inside" {
		a.remark("cells inside: open it out of doors after each dive on which anything looked odd")
	}
	return nil
}

func (a *Answer) weather(t *Trip, rules Rules) {
	test := a.Standing.Test
	warmest, coldest := t.Water.TemperatureC, t.Water.TemperatureC
	for _, l := range t.Water.Layers {
		warmest, coldest = math.Max(warmest, l.TemperatureC), math.Min(coldest, l.TemperatureC)
	}
	if !measuredC(test) {
		a.remark("the test did not measure the water's temperature; the trip's is %.0f °C", t.Water.TemperatureC)
		return
	}
	if warmest > test.WaterMaxC+rules.WarmerK {
		a.not("water of %.0f °C is warmer than it was tested in (%.0f °C); plastics are weaker there", warmest, test.WaterMaxC)
		a.First = append(a.First, fmt.Sprintf("Test it in water of at least %.0f °C.", warmest-rules.WarmerK))
	}
	if coldest < test.WaterMinC-rules.ColderK {
		a.remark("water of %.0f °C is colder than it was tested in (%.0f °C); seals are stiffer there", coldest, test.WaterMinC)
	}
}

// propose finds the test that rates the unit for the trip: one whose depths are
// meant in the trip's kind of water where there is one, and of those the shortest.
func (a *Answer) propose(t *Trip, candidates []Candidate) error {
	if !a.Standing.Shut {
		a.First = append(a.First, "Close it, and log the closure.")
	}
	if s := &a.Standing; s.Last != nil && s.Last.Kind == Struck {
		a.First = append(a.First, "Look it over for cracks and for seals that moved; mend what you find and log it.")
	}
	if a.Standing.Wet {
		a.First = append(a.First, "Find the cause, mend it and log the repair.")
	}
	sealed := a.Standing.sealedPa()
	load, err := LoadPa(t.Water, a.Need.DeepestM, sealed)
	if err != nil {
		return err
	}
	for _, c := range candidates {
		column, err := profiles.NewColumn(c.Water)
		if err != nil {
			return fmt.Errorf("profile %s: %w", c.Profile, err)
		}
		rated := column.GaugePa(c.RatedM)
		if rated < load {
			continue
		}
		p := Proposal{Profile: c.Profile, RatedM: c.RatedM, Water: c.Water.Kind(), Other: c.Water.Kind() != t.Water.Kind(), Takes: c.Takes}
		if p.ThereM, err = depthThere(t.Water, rated, sealed); err != nil {
			return err
		}
		if a.Test == nil || a.Test.Other && !p.Other || a.Test.Other == p.Other && p.Takes < a.Test.Takes {
			a.Test = &p
		}
	}
	return nil
}

// depthThere gives the depth in a water at which the wall of a unit that was
// closed at sealedPa (as LoadPa has it) carries a load, m.
func depthThere(w profiles.Water, loadPa, sealedPa float64) (float64, error) {
	column, err := profiles.NewColumn(w)
	if err != nil {
		return 0, err
	}
	if sealedPa == 0 {
		sealedPa = StandardAtmospherePa
	}
	return column.DifferentialDepthM(loadPa, sealedPa), nil
}

// Slot is one test of a proposed order.
type Slot struct {
	Unit       string
	Proposal   Proposal
	Start, End time.Time
	InTime     bool // it ends before the departure
}

// Order proposes in which order to test the units that are not fit, so that as
// many as possible are fit at the departure: first those that are shut and were
// never wet, which need nothing mended, and among equals the shortest test
// (shortest first finishes the most by a given time). The bench is used for
// some hours of each day; a test goes on through the night only if it is
// longer than they are.
func Order(now time.Time, t *Trip, answers []Answer, rules Rules) (slots []Slot, total time.Duration) {
	var todo []Answer
	for _, a := range answers {
		if a.Fitness == NotFit && a.Test != nil {
			todo = append(todo, a)
		}
	}
	slices.SortStableFunc(todo, func(a, b Answer) int {
		if x, y := len(a.First), len(b.First); x != y {
			return x - y
		}
		return int(a.Test.Takes - b.Test.Takes)
	})
	hours := time.Duration(rules.BenchHours * float64(time.Hour))
	opens := func(at time.Time) time.Time { // of the day on which at lies
		return at.UTC().Truncate(24 * time.Hour).Add(time.Duration(rules.BenchFrom * float64(time.Hour)))
	}
	at := now
	for _, a := range todo {
		takes := a.Test.Takes
		if open := opens(at); at.Before(open) {
			at = open
		} else if left := open.Add(hours).Sub(at); left <= 0 || takes > left && left < hours {
			at = open.AddDate(0, 0, 1)
		}
		end := at.Add(takes)
		slots = append(slots, Slot{Unit: a.Need.ID, Proposal: *a.Test, Start: at, End: end, InTime: !end.After(t.Departure)})
		total += takes
		at = end
	}
	return slots, total
}
