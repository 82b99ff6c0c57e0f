package plan

import (
	"math"
	"strings"
	"testing"
	"time"

	"proofpot/profiles"
)

// bare is a unit without sensors inside.
var bare = Unit{ID: "KP-02", OuterML: 1400, FreeML: 700}

// Ten millibar lost in a quarter of an hour by half a litre drawn down by 0.3 bar
// would be some 1.4 ml/h of water at 10 m and 5.6 ml/h at 40 m through the same
// laminar path: a figure worked out by hand for benches of this kind.
func TestTenMillibarInAQuarterOfAnHour(t *testing.T) {
	p := load(t, "vacuum-check")
	p.Stages[0].VacuumPa = 30000
	u := pod
	u.FreeML = 500
	got := planned(t, p, pot, u)
	q := got.Proofs[0]
	water := q.ComplianceMLPerBar / 1e5 * 1000 / 0.25 // ml/h under 0.3 bar
	for depth, want := range map[float64]float64{10: 1.4, 40: 5.6} {
		if at := water * got.Column.GaugePa(depth) / 30000; math.Abs(at/want-1) > 0.1 {
			t.Errorf("%.2f ml/h at %g m, want some %g", at, depth, want)
		}
	}
}

func TestAVacuumCheckSeesMoreWhereTheInsideIsQuietAndTheHoldIsLong(t *testing.T) {
	p := load(t, "vacuum-check")
	at := func(change func(*profiles.Stage, *Unit)) float64 {
		q, u := p, pod
		q.Stages = append([]profiles.Stage(nil), p.Stages...)
		change(&q.Stages[0], &u)
		return planned(t, q, pot, u).Proofs[0].DetectMLPerH
	}
	usual := at(func(*profiles.Stage, *Unit) {})
	if long := at(func(s *profiles.Stage, _ *Unit) { s.HoldS *= 4 }); long >= usual {
		t.Errorf("a longer hold: %g, not less than %g", long, usual)
	}
	if noisy := at(func(_ *profiles.Stage, u *Unit) { u.InsidePa, u.InsideK = 30, 0.2 }); noisy <= usual {
		t.Errorf("a noisier sensor: %g, not more than %g", noisy, usual)
	}
	if large := at(func(_ *profiles.Stage, u *Unit) { u.FreeML *= 2 }); math.Abs(large/usual/2-1) > 0.05 {
		t.Errorf("twice the void: %g, not twice %g", large, usual)
	}
}

func TestStagesByHandSayWhatTheyLack(t *testing.T) {
	dry := pod
	dry.InsideRH = 0
	for want, c := range map[string]struct {
		profile string
		unit    Unit
	}{
		`measures "inside pressure" and "inside temperature"`: {"vacuum-check", bare},
		`measures "inside pressure" and`:                      {"plunge-1m-sea", bare},
		`measures "inside humidity"`:                          {"powered-20m-sea", dry},
		"there is no unit with air inside":                    {"vacuum-check", Unit{}},
	} {
		p := planned(t, load(t, c.profile), pot, c.unit)
		if !p.Refused() || !strings.Contains(p.Text(time.Time{}), want) {
			t.Errorf("%s: want %q in %v", c.profile, want, p.Findings)
		}
	}
	for _, name := range []string{"vacuum-check", "plunge-1m-sea", "powered-20m-sea", "ladder-30m-sea"} {
		if p := planned(t, load(t, name), pot, pod); p.Refused() || !p.CanProve() {
			t.Errorf("%s: %v", name, p.Findings)
		}
	}
	// Everything that a bench without them can run, it runs.
	for _, name := range profiles.BuiltIn() {
		strong := pot
		strong.RatedPa, strong.ReliefPa = 3e6, 2.5e6
		p := planned(t, load(t, name), strong, bare)
		hands := strings.HasPrefix(name, "vacuum") || strings.HasPrefix(name, "plunge") || strings.HasPrefix(name, "powered") || strings.HasPrefix(name, "ladder")
		if p.Refused() != hands {
			t.Errorf("%s without sensors inside: refused %v", name, p.Refused())
		}
	}
}

func TestAPlungeThatIsNotLeftToCoolSeesLittle(t *testing.T) {
	p := load(t, "plunge-1m-sea")
	cooled := planned(t, p, pot, pod).Proofs[0].DetectMLPerH
	p.Stages = append([]profiles.Stage(nil), p.Stages...)
	p.Stages[0].SettleS, p.Stages[0].HoldS = 60, 1800
	if hot := planned(t, p, pot, pod).Proofs[0]; hot.DetectMLPerH < 4*cooled || hot.Enough {
		t.Errorf("at once %g ml/h, after cooling %g ml/h", hot.DetectMLPerH, cooled)
	}
}
