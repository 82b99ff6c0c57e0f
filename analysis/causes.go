package analysis

import (
	"fmt"
	"math"
	"strings"

	"proofpot/profiles/assumed"
)

// The causes of TRADE.md 1.6 that a fall of pressure in a hold may have.

// leakText writes a leak with its bounds.
func (f *facts) leakText() string {
	return fmt.Sprintf("%.3g ml/h (%.3g to %.3g)", f.e.value, f.low, f.high)
}

func (f *facts) doubtful() bool { return f.high >= f.limit }

func (f *facts) intoUnit() *thought {
	t := &thought{Explanation: Explanation{Cause: "leak into the unit"}, keep: true}
	where := fmt.Sprintf("in the hold at %.1f m:", f.st.depthM)
	if f.low > 0 {
		t.pro(min(f.z, 10)/2, "%s %s remain after temperature, creep and the bench's own leak are taken off: %.1f times the standard uncertainty", where, f.leakText(), f.z)
	} else if f.later {
		t.pro(0, "%s %s remain, which is no leak within the uncertainty: it began after this hold", where, f.leakText())
	} else {
		t.con(1, "%s %s remain after temperature, creep and the bench's own leak are taken off, which is no leak within the uncertainty", where, f.leakText())
	}
	switch in := f.st.inside; {
	case f.inSays > 0 && in != nil && in.value > 3*in.u:
		t.pro(5, "the pressure inside says %.3g ± %.2g ml/h in the same hold", in.value, coverage95*in.u)
	case f.inSays > 0:
		t.pro(4, "the pressure inside rises as water takes the room of the air")
	case f.inSays < 0 && in != nil:
		t.con(4, "the pressure inside allows no more than %.3g ml/h", in.interval().High)
	}
	if f.shows > 0 {
		t.pro(4, "water vapour comes in at a rate that follows the pressure")
	} else if f.shows < 0 {
		t.con(1, "the humidity inside shows no source that follows the pressure")
	}
	if f.wet {
		t.pro(6, "the wet probe is wet")
	} else if f.a.x.probes > 0 && f.low > f.limit {
		t.con(0.5, "no wet probe is wet; a probe needs the water to reach it")
	}
	if n := len(f.a.steps); n > 0 {
		t.pro(3, "%s of pressure went before", counted(n, "sudden loss", "sudden losses"))
	}
	if text, dir := f.withDepth(); text != "" {
		switch {
		case dir > 0:
			t.pro(1, "%s: more at more pressure, as a leak does", text)
		case dir < 0:
			t.con(0.5, "%s: not as a leak that stays open; a seal that seats under pressure does so", text)
		}
	}
	t.Holds = f.doubtful() || f.confirmed()
	if !t.Holds {
		t.con(1, "the upper bound lies below the limit of %g ml/h", f.limit)
	}
	if t.Holds && !f.confirmed() {
		t.Experiment = "step down by half and watch for as long again: a leak goes on in proportion to the pressure, creep and cooling turn back or stop"
	}
	return t
}

// withDepth compares the leaks of two holds at pressures that differ most.
func (f *facts) withDepth() (text string, dir int) {
	var low, high *stage
	for _, st := range f.a.stages {
		if st.both == nil || !st.hold.real() || !(st.meanPa > f.a.sealed) {
			continue
		}
		if low == nil || st.meanPa < low.meanPa {
			low = st
		}
		if high == nil || st.meanPa > high.meanPa {
			high = st
		}
	}
	if low == nil || high == nil || high.meanPa-f.a.sealed < 1.5*(low.meanPa-f.a.sealed) {
		return "", 0
	}
	d, u := high.both.value-low.both.value, math.Hypot(high.both.u, low.both.u)
	text = fmt.Sprintf("%.3g ml/h at %.1f m and %.3g ml/h at %.1f m", low.both.value, low.depthM, high.both.value, high.depthM)
	switch {
	case d > 2.5*u:
		return text, 1
	case d < -2.5*u:
		return text, -1
	}
	return "", 0
}

func (f *facts) cooling() *thought {
	t := &thought{Explanation: Explanation{Cause: "cooling of the gas after the fill"}}
	switch {
	case !math.IsNaN(f.gasPa):
		f.weigh(t, 3, "the gas", -f.gasK, f.gasPa)
	case f.a.s.gas == nil:
		t.pro(0.5, "no gas thermometer: how the gas settled had to be found from the pressure itself")
	}
	if !math.IsNaN(f.gasTau) && f.gasTau > 0 {
		into := f.w.start - f.st.dwell().start
		if left := math.Exp(-into / f.gasTau); left < 0.001 {
			t.con(1, "it settles with a time constant of about %.0f s: nothing of it was left when the hold began", f.gasTau)
		} else if left < 0.05 {
			t.con(0.5, "it settles with a time constant of about %.0f s: %.1f %% of it were left when the hold began", f.gasTau, 100*left)
		} else {
			t.pro(0.5, "it settles with a time constant of about %.0f s: %.0f %% of it were left when the hold began", f.gasTau, 100*left)
		}
	}
	f.remainder(t, "cooling")
	t.Holds = !f.confirmed() && f.low <= f.limit && (f.doubtful() || f.explained(f.gasPa))
	if f.doubtful() && t.Holds {
		t.Experiment = "settle longer before the hold: cooling dies away, a leak does not"
	}
	return t
}

// explained says whether a change of pressure was seen and this is a good part of it.
func (f *facts) explained(pa float64) bool {
	return math.Abs(f.fallPa) > 4*f.noise && pa/f.fallPa > 0.2 && !f.doubtful()
}

// ofChange is a part of the pressure's change in words.
func (f *facts) ofChange(pa float64) string {
	if f.topped {
		return "worth " + pascalsSigned(-pa)
	}
	return pascalsSigned(-pa) + " of the pressure's change of " + pascalsSigned(-f.fallPa)
}

// sudden weighs a sudden loss against what goes slowly.
func (f *facts) sudden(t *thought) {
	if len(f.a.steps) > 0 {
		t.con(2, "a sudden loss of pressure went before")
	}
}

// weigh says what a change of temperature, K, makes of the fall of pressure.
func (f *facts) weigh(t *thought, w float64, what string, rise, pa float64) {
	if f.topped {
		t.con(w/2, "%s changed by %+.2g K in the hold, worth %s: too little to need the supply, which was let in again", what, rise, pascalsSigned(-pa))
		return
	}
	changed := fmt.Sprintf("%s changed by %+.2g K in the hold, which alone makes %s", what, rise, f.ofChange(pa))
	switch {
	case math.Abs(pa) < max(2*f.noise, 0.1*math.Abs(f.fallPa)):
		t.con(w/2, "%s: too little", changed)
	case pa*f.fallPa < 0:
		t.con(w/2, "%s: the other way", changed)
	default:
		t.pro(w*min(pa/f.fallPa, 1.2), "%s", changed)
	}
}

// confirmed says whether something inside the unit proves that water comes in.
func (f *facts) confirmed() bool { return f.wet || f.inSays > 0 || f.shows > 0 }

// remainder says what is left of the fall when the temperatures are taken off.
func (f *facts) remainder(t *thought, what string) {
	if f.low > f.limit {
		t.con(3, "%.3g ml/h at least go on when %s is taken off", f.low, what)
	}
}

func (f *facts) warming() *thought {
	if math.IsNaN(f.warmPa) {
		return nil
	}
	t := &thought{Explanation: Explanation{Cause: "temperature of water and walls"}}
	f.weigh(t, 2, "their temperature (from: "+f.a.base.from+")", f.warmK, f.warmPa)
	f.remainder(t, "the change of temperature")
	t.Holds = f.explained(f.warmPa) || len(t.For) > 0 && f.doubtful() && !f.confirmed() && f.low <= f.limit
	if t.Holds && f.doubtful() {
		t.Experiment = "let pot and water rest to one temperature overnight and hold again"
	}
	return t
}

func (f *facts) benchLeak() *thought {
	t := &thought{Explanation: Explanation{Cause: "the bench's own leak"}}
	if !f.a.v.blankGiven {
		t.pro(2, "no blank run stands on the bench's sheet; %.2g ml/h at this pressure were allowed for", f.benchU)
	} else {
		t.pro(0.5+min(max(f.benchPa/f.fallPa, 0), 1), "the blank on the sheet makes it %.3g ± %.2g ml/h at this pressure, %s; that is taken off", f.bench, coverage95*f.benchU, f.ofChange(f.benchPa))
		if f.low > 0 {
			if k := f.e.value / f.benchU; k > 3 {
				t.con(min(k, 10)/3, "what remains is %.0f times the uncertainty of the blank", k)
			} else {
				t.pro(1.5, "what remains is only %.1f times the uncertainty of the blank", k)
			}
		}
	}
	switch {
	case f.confirmed():
		t.con(3, "the sensors in the unit show that it is the unit")
	case f.inSays < 0 && f.doubtful():
		t.pro(2, "the pressure falls and the pressure inside the unit stays: what leaves the chamber does not go into the unit")
	}
	t.Holds = !f.confirmed() && f.doubtful() || f.explained(f.benchPa)
	if f.doubtful() && t.Holds {
		t.Experiment = "run a blank: the same profile with a solid dummy instead of the unit; look for drops at lid and fittings"
	}
	return t
}

// slows says whether the leak was larger in the settle than in the hold, and by
// how many standard uncertainties.
func (f *facts) slows() (z float64, text string) {
	e := f.st.chamber
	if e == nil || e.settleU == 0 || !f.st.settle.real() {
		return 0, ""
	}
	if e.tied {
		return 0, fmt.Sprintf("settle and hold together fit one steady leak of %.3g ml/h", e.value)
	}
	z = (e.settle - e.value) / math.Hypot(e.settleU, e.u)
	return z, fmt.Sprintf("%.3g ± %.2g ml/h in the settle, %.3g ± %.2g ml/h in the hold", e.settle, coverage95*e.settleU, e.value, coverage95*e.u)
}

// decelerating weighs what slows down against a leak, which does not.
func (f *facts) decelerating(t *thought) {
	z, text := f.slows()
	switch {
	case text == "":
	case z > 3:
		t.pro(2, "it slows down: %s", text)
	case f.st.chamber.tied:
		t.con(1, "it does not slow down: %s", text)
	case z < -3:
		t.con(2, "it grows: %s", text)
	}
}

func (f *facts) dissolving() *thought {
	v := f.a.v
	if v.gas || v.waterML <= 0 || !(f.st.meanPa > v.roomPa) || f.confirmed() {
		return nil
	}
	t := &thought{Explanation: Explanation{Cause: "gas dissolving into the water"}}
	// Henry: water takes some 0.019 of its volume of air for each bar (ml at 1 bar
	// a ml and bar); handbook value for 20 °C.
	takes := 0.019 * v.waterML * (f.st.meanPa - v.roomPa) / f.st.meanPa
	t.pro(0.5, "%.3g l of water lie under the gas and could take up %.3g ml of it at this pressure in the long run", v.waterML/1000, takes)
	f.decelerating(t)
	f.sudden(t)
	lost := f.low * f.hours
	if lost > takes {
		t.con(4, "the hold alone lost %.3g ml at least", lost)
	}
	t.Holds = f.doubtful() && lost <= takes && len(f.a.steps) == 0
	if t.Holds {
		t.Experiment = "hold once more at the same pressure without changing the water: it takes up less the second time, a leak does not"
	}
	return t
}

func (f *facts) creep() *thought {
	t := &thought{Explanation: Explanation{Cause: "creep of the unit"}}
	step := f.st.meanPa - f.a.v.roomPa
	if f.st.ramp.real() {
		step = math.Abs(f.st.meanPa - f.a.pressureAt(f.st.ramp.start))
	}
	since := f.w.start - f.st.dwell().start
	share := math.Log1p((since+f.w.length())/assumed.CreepS) - math.Log1p(since/assumed.CreepS)
	may := 2 * assumed.CreepML * step / 1e5 * f.a.v.unitML / 1000 * share / f.hours
	t.pro(0.5, "a unit of %.3g l that gives way slowly may feign up to some %.2g ml/h in this hold", f.a.v.unitML/1000, may)
	f.decelerating(t)
	if f.low > 2*may {
		t.con(3, "what remains is more than that")
	}
	if f.wet || f.shows > 0 {
		t.con(3, "water or its vapour is inside")
	}
	t.Holds = f.doubtful() && !f.wet && f.shows <= 0 && f.low <= 2*may
	if t.Holds {
		t.Experiment = "step down and watch: creep turns back, a leak does not"
	}
	return t
}

func (f *facts) absorption() *thought {
	if f.a.v.gas || !f.doubtful() || f.confirmed() {
		return nil
	}
	t := &thought{Explanation: Explanation{Cause: "water taken up by the unit's walls or foam"}}
	m := strings.ToLower(f.a.run.Unit.Material)
	printed := strings.Contains(m, "print") || strings.Contains(m, "pla") || strings.Contains(m, "petg") || strings.Contains(m, "nylon") || strings.Contains(m, "resin") || strings.Contains(m, "foam")
	switch {
	case printed:
		t.pro(1, "the unit is made of %q, whose pores fill under pressure", f.a.run.Unit.Material)
	case m != "":
		t.con(1, "the unit is made of %q", f.a.run.Unit.Material)
	default:
		t.pro(0.2, "the sheet does not say what the unit is made of")
	}
	f.decelerating(t)
	f.sudden(t)
	walls, lost := f.a.run.Unit.OuterVolumeML-f.a.run.Unit.FreeVolumeML, f.low*f.hours
	if walls > 0 && lost > walls/5 {
		t.con(4, "the hold alone lost %.3g ml at least, and the walls have a volume of %.3g ml", lost, walls)
	}
	if f.shows < 0 {
		t.pro(0.5, "the humidity inside does not follow the pressure")
	}
	t.Holds = !(walls > 0 && lost > walls/5) && len(f.a.steps) == 0
	if t.Holds {
		t.Experiment = "weigh the unit, wiped dry, before and after: more than 0.1 g with a dry inside is taken up by its walls"
	}
	return t
}

func (f *facts) barometer() *thought {
	if math.IsNaN(f.baroPa) || math.Abs(f.baroPa*f.comp/f.hours) < 0.05*f.limit {
		return nil
	}
	t := &thought{Explanation: Explanation{Cause: "barometer on a transducer that is vented to the room"}}
	share := f.baroPa / f.fallPa
	feigned := f.baroPa * f.comp / f.hours
	if math.Abs(feigned) > 0.2*f.limit {
		t.pro(min(math.Abs(share), 1), "the barometer changed by %s in the hold; on a vented transducer that would feign %.2g ml/h", pascalsSigned(-f.baroPa), -feigned)
	} else {
		t.con(2, "the barometer changed by %s in the hold, worth %.2g ml/h", pascalsSigned(-f.baroPa), math.Abs(feigned))
	}
	if feigned > 0 && len(t.For) > 0 {
		t.con(1, "that would raise the reading, not lower it")
	}
	t.Holds = len(t.For) > 0 && len(t.Against) == 0 && f.doubtful() && !f.confirmed()
	if t.Holds {
		t.Experiment = "read the transducer's type plate (absolute or gauge); compare its reading at the open vent with the barometer"
	}
	return t
}

func (f *facts) valvePassing() *thought {
	t := &thought{Explanation: Explanation{Cause: "a valve that passes though shut"}}
	if f.high < 0 || f.z < -2 {
		t.pro(3, "the pressure rose: %s, as if the chamber were fed; a fill valve that passes hides a leak", f.leakText())
		t.Holds = true
		t.Experiment = "close the hand valve upstream of the fill valve and hold again"
		return t
	}
	if !f.doubtful() || f.confirmed() {
		return nil
	}
	t.pro(0.3, "a vent valve that passes looks like the bench's own leak")
	if f.a.v.blankGiven {
		t.con(0.5, "the blank on the sheet includes it, as it was then")
	}
	t.Holds = true
	t.Experiment = "lead the vent's outlet into a cup of water and look for bubbles during the hold"
	return t
}

func (f *facts) sensorDrift() *thought {
	t := &thought{Explanation: Explanation{Cause: "drift of the transducer"}}
	if !math.IsNaN(f.drift) {
		if k := math.Abs(f.e.value) / f.drift; k < 3 {
			t.pro(1, "drift may feign %.2g ml/h over this hold, and %.2g ml/h remain", coverage95*f.drift, f.e.value)
		} else {
			t.con(min(k, 10)/3, "what remains is %.0f times what drift makes over this hold", k)
		}
	}
	if s := f.a.s.second; !math.IsNaN(s) {
		if s > 2*f.a.classSD() {
			t.pro(2, "a second transducer strays from the first by %s", pascals(s))
		} else {
			t.con(2, "a second transducer stays with the first within %s", pascals(s))
		}
	}
	if f.confirmed() {
		t.con(2, "the sensors in the unit show that it is the unit")
	}
	t.Holds = len(t.For) > 0 && f.doubtful() && !f.confirmed() && f.low <= f.limit
	if t.Holds {
		t.Experiment = "hold longer, and compare the reading at the open vent before and after with the barometer"
	}
	return t
}
