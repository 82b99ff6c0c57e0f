package plan

import (
	"fmt"
	"math"
	"sort"
	"time"

	"proofpot/profiles"
)

// Proof is what one hold is able to prove.
type Proof struct {
	Leg                Leg
	LimitMLPerH        float64 // limit of acceptance; 0: not judged
	DetectMLPerH       float64 // smallest leak that it tells from none, 3.29 standard uncertainties
	ByChamber          float64 // ml/h, the same from the chamber pressure alone
	ComplianceMLPerBar float64 // at the hold's pressure
	ByInside           float64 // ml/h, from the inside pressure alone; +Inf without that sensor
	Budget             []Source

	LimitMGPerH  float64 // limit of moisture; 0: not judged
	DetectMGPerH float64 // mg/h; +Inf without a humidity sensor inside

	Blind   bool          // a gross leak does not show: in a pot of gas, with no pressure sensor inside, the unit fills with the chamber
	Enough  bool          // the hold can carry a pass
	Needed  time.Duration // the hold that the limit would need; 0: no time is enough
	Changes []Change      // what would help, most first
}

// Change is something to do on the bench or in the profile, and what the
// detection limit would then be.
type Change struct {
	What   string
	MLPerH float64
}

const longestHold = 72 * time.Hour

// Why says in a line why a hold is not enough and what would help.
func (q Proof) Why() string {
	if q.Enough {
		return fmt.Sprintf("can tell %.2g ml/h from none, the limit is %.2g ml/h", q.DetectMLPerH, q.LimitMLPerH)
	}
	if q.Blind {
		return "cannot tell a gross leak from none: in a pot of gas the unit fills with the chamber; a pressure sensor inside, or a pot of water, can"
	}
	if q.LimitMLPerH <= 0 || q.DetectMLPerH <= q.LimitMLPerH {
		return fmt.Sprintf("can tell %.2g mg/h of moisture from none, and the limit is %.2g mg/h", q.DetectMGPerH, q.LimitMGPerH)
	}
	text := fmt.Sprintf("can tell %.2g ml/h from none, and the limit is %.2g ml/h", q.DetectMLPerH, q.LimitMLPerH)
	if q.Needed > 0 {
		text += fmt.Sprintf("; it would need a hold of %s", shortTime(q.Needed))
	} else {
		text += "; no hold of up to 72 h is enough on this bench"
	}
	if len(q.Changes) > 0 {
		text += fmt.Sprintf("; most would help %s: %.2g ml/h", q.Changes[0].What, q.Changes[0].MLPerH)
	}
	return text
}

// proofs works out what every hold can prove; of a stage that goes up and down
// the first of its holds.
func (p *Plan) proofs() {
	seen := map[[2]float64]bool{}
	from := p.Bench.RoomPa
	var ramps []ramp
	for _, l := range p.Legs {
		before, earlier := from, ramps
		from = l.AbsolutePa
		ramps = append(ramps, ramp{l.Start + l.Ramp, l.AbsolutePa - before})
		key := [2]float64{float64(l.Stage), l.DepthM}
		if l.Hold <= 0 || l.Kind == profiles.KindConditioning || seen[key] {
			continue
		}
		seen[key] = true
		if l.Kind == profiles.KindVacuum {
			p.Proofs = append(p.Proofs, p.vacuumProof(l))
			continue
		}
		p.Proofs = append(p.Proofs, p.proof(l, before, earlier))
	}
}

// ramp is a change of the chamber's pressure, and when it was done.
type ramp struct {
	end time.Duration
	pa  float64 // Pa
}

// mostRamps are as many earlier ramps as are looked back to: fifty cycles would
// take their time, and add nothing.
const mostRamps = 16

func (p *Plan) proof(l Leg, fromPa float64, earlier []ramp) Proof {
	w := window{pa: l.AbsolutePa, fromPa: fromPa, rampS: l.Ramp.Seconds(), waitS: l.Settle.Seconds(), holdS: l.Hold.Seconds(), sinceS: (l.Start + l.Ramp).Seconds()}
	for _, r := range earlier[max(len(earlier)-mostRamps, 0):] {
		w.before = append(w.before, step{r.pa, (l.Start + l.Ramp - r.end).Seconds()})
	}
	q := Proof{Leg: l, LimitMLPerH: p.Profile.Accept.LeakMLPerH, LimitMGPerH: p.Profile.Accept.MoistureMGPerH}
	q.ComplianceMLPerBar = p.Bench.compliance(l.AbsolutePa, p.Unit)
	var chamber, inside []Source
	q.ByChamber, chamber = chamberLimit(p.Bench, p.Unit, w)
	q.ByInside, inside = insideLimit(p.Bench, p.Unit, w)
	q.DetectMLPerH = together(q.ByChamber, q.ByInside)
	q.Budget = chamber
	if q.ByInside < q.ByChamber {
		q.Budget = inside
	}
	sort.SliceStable(q.Budget, func(i, j int) bool { return q.Budget[i].MLPerH > q.Budget[j].MLPerH })
	q.DetectMGPerH = moistureLimit(p.Unit, w.holdS)
	moist := q.LimitMGPerH <= 0 || math.IsInf(q.DetectMGPerH, 1) || q.DetectMGPerH <= q.LimitMGPerH
	q.Blind = p.Bench.Gas && p.Unit.InsidePa <= 0
	q.Enough = !q.Blind && moist && (q.LimitMLPerH <= 0 || q.DetectMLPerH <= q.LimitMLPerH)
	if q.LimitMLPerH > 0 {
		q.Needed = needed(p.Bench, p.Unit, w, q.LimitMLPerH)
		q.Changes = p.changes(w, q.DetectMLPerH)
	}
	if l.Kind == profiles.KindPlunge || l.Kind == profiles.KindPowered {
		q = p.insideProof(q, w)
	}
	return q
}

// chamberLimit is the detection limit from the chamber pressure, ml/h.
func chamberLimit(b Bench, u Unit, w window) (float64, []Source) {
	v, from := b.chamberSignal(w, u).doubt(w.fittedS())
	return currieFactor * v, from
}

// insideLimit is that from the inside pressure.
func insideLimit(b Bench, u Unit, w window) (float64, []Source) {
	if u.FreeML <= 0 || u.InsidePa <= 0 || u.InsideK <= 0 {
		return math.Inf(1), nil
	}
	v, from := u.insideSignal(w, b.Gas).doubt(w.holdS)
	return currieFactor * v, from
}

func moistureLimit(u Unit, holdS float64) float64 {
	if u.FreeML <= 0 || u.InsideRH <= 0 {
		return math.Inf(1)
	}
	v, _ := u.moistureSignal().doubt(holdS)
	return currieFactor * v
}

// together is the limit of two independent estimates weighted by what each is worth.
func together(a, b float64) float64 { return 1 / math.Sqrt(1/(a*a)+1/(b*b)) }

func limit(b Bench, u Unit, w window) float64 {
	chamber, _ := chamberLimit(b, u, w)
	inside, _ := insideLimit(b, u, w)
	return together(chamber, inside)
}

// needed finds the shortest hold whose detection limit is the acceptance limit,
// to a minute; 0 where the longest is not enough.
func needed(b Bench, u Unit, w window, limitMLPerH float64) time.Duration {
	return shortest(func(holdS float64) bool {
		v := w
		v.holdS = holdS
		return limit(b, u, v) <= limitMLPerH
	})
}

// shortest finds the shortest hold that is enough, to a minute; 0 for none up to
// longestHold.
func shortest(enough func(holdS float64) bool) time.Duration {
	fits := func(minutes float64) bool { return enough(minutes * 60) }
	longest := longestHold.Minutes()
	low, high := 0.0, 1.0
	for !fits(high) {
		if high == longest {
			return 0
		}
		low, high = high, min(2*high, longest)
	}
	for high-low > 1 {
		if mid := math.Floor((low + high) / 2); fits(mid) {
			high = mid
		} else {
			low = mid
		}
	}
	return seconds(math.Ceil(high) * 60)
}

// changes lists what would lower the detection limit of a window, most first;
// what would not lower it by a tenth is left out.
func (p *Plan) changes(w window, now float64) []Change {
	var all []Change
	try := func(what string, b Bench, u Unit, w window) {
		if v := limit(b, u, w); v < 0.9*now {
			all = append(all, Change{what, v})
		}
	}
	b, u := p.Bench, p.Unit
	longer := w
	longer.holdS *= 2
	try(fmt.Sprintf("a hold of %s", shortTime(seconds(longer.holdS))), b, u, longer)
	later := w
	later.waitS = 2*w.waitS + 300
	try(fmt.Sprintf("a settling of %s", shortTime(seconds(later.waitS))), b, u, later)
	if !b.Gas && b.CushionML > 40 {
		less := b
		less.CushionML = math.Round(b.CushionML / 4)
		try(fmt.Sprintf("a gas cushion of %.0f ml instead of %.0f ml", less.CushionML, b.CushionML), less, u, w)
	}
	if b.Gas {
		wet := b
		wet.Gas, wet.CushionML = false, min(300, (b.ChamberML-u.OuterML)/2)
		wet.StiffnessMLPerBar += (b.ChamberML - u.OuterML) * 4.6e-5 // of the water that comes in
		try(fmt.Sprintf("water in the chamber with a gas cushion of %.0f ml", wet.CushionML), wet, u, w)
	}
	if gauge := (w.pa - b.RoomPa) / 1e5; gauge > 0.05 {
		known := b
		known.BlankSDMLPerHPerBar = p.afterBlank(w) / gauge
		if before := b.BlankSDMLPerHPerBar; before == 0 || known.BlankSDMLPerHPerBar < before {
			try("a blank run of an hour at this pressure", known, u, w)
		}
	}
	if b.GasThermometerK == 0 {
		with := b
		with.GasThermometerK = 0.02
		try("a thermometer in the gas", with, u, w)
	}
	if !b.Gas && (b.WaterThermometerK == 0 || b.WaterThermometerK > 0.01) {
		with := b
		with.WaterThermometerK = 0.004
		try("a thermometer in the water that shows 4 mK", with, u, w)
	}
	quiet := b
	quiet.NoisePa /= 4
	try(fmt.Sprintf("a chamber transducer with %.3g Pa of noise instead of %.3g Pa", quiet.NoisePa, b.NoisePa), quiet, u, w)
	if u.FreeML > 0 && (u.InsidePa <= 0 || u.InsideK <= 0) {
		with := u
		with.InsidePa, with.InsideK = 3, 0.01
		try("a sensor of pressure and temperature inside the unit", b, with, w)
	}
	if u.InsidePa > 0 {
		filled := u
		filled.FreeML /= 2
		try(fmt.Sprintf("solid filler that leaves %.0f ml of air in the unit", filled.FreeML), b, filled, w)
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].MLPerH < all[j].MLPerH })
	return all
}

// afterBlank is the standard uncertainty of the bench's own leak after a blank
// run of an hour at the same pressure, ml/h.
func (p *Plan) afterBlank(w window) float64 {
	w.holdS, w.waitS = 3600, max(w.waitS, 300)
	b := p.Bench
	b.BlankSDMLPerHPerBar = 1e-9 // it is what is sought
	v, _ := b.chamberSignal(w, Unit{OuterML: p.Unit.OuterML}).doubt(w.fittedS())
	return v
}

// shortTime words a duration as "15 min" or "1 h 30 min".
func shortTime(d time.Duration) string {
	d = d.Round(time.Second)
	h, m, s := d/time.Hour, d%time.Hour/time.Minute, d%time.Minute/time.Second
	switch {
	case h > 0 && m > 0:
		return fmt.Sprintf("%d h %d min", h, m)
	case h > 0:
		return fmt.Sprintf("%d h", h)
	case m > 0 && s > 0:
		return fmt.Sprintf("%d min %d s", m, s)
	case m > 0:
		return fmt.Sprintf("%d min", m)
	}
	return fmt.Sprintf("%d s", s)
}
