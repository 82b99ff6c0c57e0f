package register

import "fmt"

// Rules say when a test that was passed stops being true without anyone having
// touched the unit. All are common practice, no source: choose your own in the
// register's rules.toml.
type Rules struct {
	Months     int     `toml:"months"`       // after the test; rings set, plastics creep
	Dives      int     `toml:"dives"`        // since the test, 0: any number
	Cycles     int     `toml:"cycles"`       // times that it was let down since the test, 0: any number; seals walk and wear
	WarmerK    float64 `toml:"warmer_k"`     // K above the warmest water of the test: plastics are weaker
	ColderK    float64 `toml:"colder_k"`     // K below its coldest: seals are stiffer
	NearShare  float64 `toml:"near_share"`   // of the rated load, from which a trip gets a remark
	BenchFrom  float64 `toml:"bench_from"`   // h after midnight UTC, from which the bench can be used
	BenchHours float64 `toml:"bench_hours"`  // h a day that it can be
	LeakMostML float64 `toml:"leak_most_ml"` // ml that may come in over a whole trip, by the test's upper bound; 0: not judged
}

// DefaultRules are used where the register has none.
func DefaultRules() Rules {
	return Rules{Months: 12, Dives: 50, Cycles: 200, WarmerK: 5, ColderK: 10, NearShare: 0.9, BenchFrom: 8, BenchHours: 8, LeakMostML: 5}
}

// Check says what is wrong with the rules, in one line.
func (r Rules) Check() error {
	switch {
	case r.Months < 1 || r.Months > 120:
		return fmt.Errorf("months: %d must be 1 to 120", r.Months)
	case r.Dives < 0:
		return fmt.Errorf("dives: %d must be 0 (any number) or more", r.Dives)
	case r.Cycles < 0:
		return fmt.Errorf("cycles: %d must be 0 (any number) or more", r.Cycles)
	case !(r.WarmerK >= 0 && r.WarmerK <= 40):
		return fmt.Errorf("warmer_k: %g must be 0 to 40 K", r.WarmerK)
	case !(r.ColderK >= 0 && r.ColderK <= 40):
		return fmt.Errorf("colder_k: %g must be 0 to 40 K", r.ColderK)
	case !(r.NearShare > 0 && r.NearShare <= 1):
		return fmt.Errorf("near_share: %g must be above 0 and at most 1", r.NearShare)
	case !(r.BenchFrom >= 0 && r.BenchFrom < 24):
		return fmt.Errorf("bench_from: %g must be 0 or more and below 24", r.BenchFrom)
	case !(r.BenchHours > 0 && r.BenchHours <= 24):
		return fmt.Errorf("bench_hours: %g must be above 0 and at most 24", r.BenchHours)
	case !(r.LeakMostML >= 0):
		return fmt.Errorf("leak_most_ml: %g must be 0 (not judged) or more", r.LeakMostML)
	}
	return nil
}
