package files

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"proofpot/analysis/register"
	"proofpot/profiles"
)

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

func tested(unit string, n int) register.Event {
	return register.Event{Unit: unit, Kind: register.Tested, At: noon.Add(time.Duration(n) * time.Minute), Test: &register.Test{
		Record: fmt.Sprintf("2026-%d-%s", n, unit), Verdict: "pass", ProvedM: 37.5, RatedM: 30, LeakMLPerH: 0.01,
		Water: profiles.Water{Model: "sea", SalinityGKg: 35, TemperatureC: 12, LatitudeDeg: 58}, WaterMinC: 10, WaterMaxC: 12}}
}

func sorted(events []register.Event) []register.Event {
	slices.SortFunc(events, func(a, b register.Event) int {
		return a.At.Compare(b.At)*2 + strings.Compare(a.Unit+string(a.Kind)+a.Text, b.Unit+string(b.Kind)+b.Text)
	})
	return events
}

func TestWhatIsAddedIsReadBackWithAndWithoutTheIndex(t *testing.T) {
	s := Store{t.TempDir()}
	want := []register.Event{
		{Unit: "KP-01", Kind: register.Closed, At: noon.Add(-time.Hour), By: "bench team", Text: "greased; \"thin\"\nand even", Closure: &register.Closure{Seals: "cord ring 70 × 2.5", SealedC: 18.5}},
		tested("KP-01", 1),
		{Unit: "KP-01", Kind: register.Dived, At: noon.Add(time.Hour), Dive: &register.Dive{DepthM: 24.5, Minutes: 40, WaterC: 6, HasWater: true}},
		tested("KP-02", 2),
	}
	for _, e := range want {
		if _, added, err := s.Add(e); err != nil || !added {
			t.Fatalf("%v, %v", added, err)
		}
		if _, again, err := s.Add(e); err != nil || again {
			t.Fatalf("the same event twice: %v, %v", again, err)
		}
	}
	for _, how := range []string{"first", "by the index", "index gone", "index damaged"} {
		switch how {
		case "index gone":
			os.Remove(filepath.Join(s.Root, indexFile))
		case "index damaged":
			os.WriteFile(filepath.Join(s.Root, indexFile), []byte(`{"version":1,"files":{"KP-`), 0o644)
		}
		got, err := s.Events()
		if err != nil || !reflect.DeepEqual(sorted(got), sorted(slices.Clone(want))) {
			t.Errorf("%s: %v\n got %+v\nwant %+v", how, err, got, want)
		}
	}
	if got, err := s.Events("KP-02"); err != nil || len(got) != 1 {
		t.Errorf("of one unit: %v, %v", got, err)
	}
	if got, err := s.Events("KP-77"); err != nil || len(got) != 0 {
		t.Errorf("of no unit: %v, %v", got, err)
	}
}

func TestAFileChangedByAnEditorIsReadAnew(t *testing.T) {
	s := Store{t.TempDir()}
	file, _, err := s.Add(register.Event{Unit: "KP-01", Kind: register.Noted, At: noon, Text: "as it was"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Events(); err != nil {
		t.Fatal(err)
	}
	data, _ := os.ReadFile(file)
	if err := os.WriteFile(file, []byte(strings.Replace(string(data), "as it was", "as it is now", 1)), 0o644); err != nil {
		t.Fatal(err)
	}
	if got, err := s.Events(); err != nil || got[0].Text != "as it is now" {
		t.Errorf("%v, %v", got, err)
	}
}

func TestTwoPeopleAtOnceLoseNothing(t *testing.T) {
	s := Store{t.TempDir()}
	var wait sync.WaitGroup
	for person := range 2 {
		wait.Go(func() {
			for i := range 100 {
				e := register.Event{Unit: "KP-01", Kind: register.Noted, At: noon.Add(time.Duration(i) * time.Second), Text: fmt.Sprintf("person %d, note %d", person, i)}
				if _, added, err := s.Add(e); err != nil || !added {
					t.Errorf("%v, %v", added, err)
				}
				if i%20 == 0 {
					if _, err := s.Events(); err != nil {
						t.Error(err)
					}
				}
			}
		})
	}
	wait.Wait()
	if got, err := s.Events(); err != nil || len(got) != 200 {
		t.Errorf("%d events of 200, %v", len(got), err)
	}
}

func TestADamagedEventIsNamedWithItsLine(t *testing.T) {
	s := Store{t.TempDir()}
	file, _, err := s.Add(tested("KP-01", 1))
	if err != nil {
		t.Fatal(err)
	}
	good, _ := os.ReadFile(file)
	for name, c := range map[string]struct{ old, new, want string }{
		"a wrong key":        {"verdict =", "verdicts =", `"verdicts"`},
		"a wrong verdict":    {"'pass'", "'probably'", "verdict"},
		"another unit's":     {"'KP-01'\nkind", "'KP-02'\nkind", "KP-02"},
		"rated below proved": {"rated_depth_m = 30.0", "rated_depth_m = 300.0", "rated_depth_m"},
	} {
		bad := strings.Replace(string(good), c.old, c.new, 1)
		if bad == string(good) {
			t.Fatalf("%s: nothing replaced in\n%s", name, good)
		}
		os.WriteFile(file, []byte(bad), 0o644)
		if _, err := s.Events(); err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), filepath.Base(file)) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestAUnitsNameCannotLeaveTheRegister(t *testing.T) {
	for _, unit := range []string{"../KP-01", "a/b", ".", "..", ".hidden", "KP 01"} {
		if _, _, err := (Store{t.TempDir()}).Add(register.Event{Unit: unit, Kind: register.Noted, At: noon}); err == nil {
			t.Errorf("%q was taken", unit)
		}
	}
}

func TestTheRulesOfARegisterAreItsOwn(t *testing.T) {
	s := Store{t.TempDir()}
	if r, err := s.Rules(); err != nil || r != register.DefaultRules() {
		t.Errorf("%+v, %v", r, err)
	}
	file := filepath.Join(s.Root, rulesFile)
	os.WriteFile(file, []byte("months = 6\ndives = 20\n"), 0o644)
	if r, err := s.Rules(); err != nil || r.Months != 6 || r.Dives != 20 || r.WarmerK != register.DefaultRules().WarmerK {
		t.Errorf("%+v, %v", r, err)
	}
	os.WriteFile(file, []byte("months = 6\ndive = 20\n"), 0o644)
	if _, err := s.Rules(); err == nil || !strings.Contains(err.Error(), "2:1") {
		t.Errorf("%v", err)
	}
}

// fill writes n events of many units as they would come in over years.
func fill(b testing.TB, n int) Store {
	s := Store{b.TempDir()}
	for i := range n {
		if _, _, err := s.Add(tested(fmt.Sprintf("KP-%03d", i%100), i)); err != nil {
			b.Fatal(err)
		}
	}
	return s
}

// BenchmarkTenThousand lists a register of 10,000 tests, says how every unit
// stands, and answers a trip: by its index, and without, which is the peer.
func BenchmarkTenThousand(b *testing.B) {
	s := fill(b, 10000)
	b.Run("by the index", func(b *testing.B) {
		if _, err := s.Events(); err != nil {
			b.Fatal(err)
		}
		for b.Loop() {
			if got, err := s.Events(); err != nil || len(got) != 10000 {
				b.Fatal(len(got), err)
			}
		}
	})
	trip := register.Trip{Name: "a week", Departure: noon.AddDate(0, 1, 0), Days: 7, Water: profiles.Water{Model: "sea", SalinityGKg: 33, TemperatureC: 12, LatitudeDeg: 62}}
	for i := range 20 {
		trip.Units = append(trip.Units, register.Need{ID: fmt.Sprintf("KP-%03d", 5*i), DeepestM: 20, Dives: 8, Minutes: 40})
	}
	now := noon.AddDate(0, 0, 20)
	answered := func(b *testing.B) {
		events, err := s.Events()
		if err != nil || len(events) != 10000 {
			b.Fatal(len(events), err)
		}
		answers, err := register.Judge(now, &trip, events, register.DefaultRules(), nil)
		if err != nil || len(answers) != 20 || answers[19].Fitness == register.NotFit {
			b.Fatal(answers, err)
		}
	}
	b.Run("a trip of 20 units by the index", func(b *testing.B) {
		for b.Loop() {
			answered(b)
		}
	})
	b.Run("a trip of 20 units, every file", func(b *testing.B) {
		for b.Loop() {
			os.Remove(filepath.Join(s.Root, indexFile))
			answered(b)
		}
	})
	b.Run("how all units stand, by the index", func(b *testing.B) {
		for b.Loop() {
			events, err := s.Events()
			if err != nil {
				b.Fatal(err)
			}
			for _, unit := range Units(events) {
				if _, err := register.At(now, unit, events, register.DefaultRules()); err != nil {
					b.Fatal(err)
				}
			}
		}
	})
	b.Run("every file", func(b *testing.B) {
		for b.Loop() {
			os.Remove(filepath.Join(s.Root, indexFile))
			if _, err := s.Events(); err != nil {
				b.Fatal(err)
			}
		}
	})
}
