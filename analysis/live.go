package analysis

import (
	"fmt"
	"math"

	"proofpot/profiles/assumed"
	"proofpot/rig/record"
	"proofpot/rig/setup"
)

// Live estimates the leak of the hold that is under way, line by line as they
// are recorded, in constant memory. It holds the same volume balance as the
// analysis of the whole record (see chamberFit), solved by Kalman filters, one
// for each time constant with which the gas may settle; what only the whole
// record can tell (how the transducer strays, ingress in earlier stages, what the
// sensors inside say) it leaves to that.
type Live struct {
	run    setup.Run
	v      vessel
	limit  float64
	sealed float64 // Pa absolute; 0 until known

	start  int64 // ns, first line
	begun  bool
	rank   int // of the transducer that is used, on the sheet
	sensor string
	lastPa float64 // s, its last reading

	phase    livePhase
	fill     bool
	vent     bool
	since    float64 // s, when the last valve moved or a stage began to be shut
	rampEnd  float64 // s
	lowPa    float64 // least and greatest pressure since the valves were last shut
	highPa   float64
	stepFrom float64 // Pa, at the start of the ramp
	rampAt   float64 // s

	dt      float64 // s between two readings
	lastT   float64
	gate    gate
	noise   roughness // Pa
	gasN    roughness // K
	waterN  roughness // K
	water   slowWater
	creepPa float64 // see analysis.creepAt
	creepT  float64

	sum   liveBlock
	bank  bank
	probe [16]liveProbe

	// What has gone into the unit: it makes the gas cushion grow, and with it what
	// each Pa is worth, and squeezes the air that it meets.
	gone    float64 // ml by now
	gone0   float64 // ml at the start of the window
	onset   float64 // s, when it may have begun
	conduct float64 // ml/h/Pa, as last seen; 0 while nothing is proved

	warmTill float64 // s, until a unit that was warmed has cooled: it shrinks meanwhile, as a leak would look

	over   float64 // s since when the leak is proved above the limit; NaN while it is not
	failed bool
	now    Interval
	u      float64
	says   bool
}

type livePhase uint8

const (
	liveIdle livePhase = iota
	liveRamp
	liveSettle
	liveHold
)

type liveProbe struct {
	sensor string
	used   bool
	wet    int // readings in a row
}

// How long a leak must be proved above the limit before a search ends, and the
// shortest window that says anything.
const (
	provedFor = 60.0   // s
	saysAfter = 15.0   // s
	coolsFor  = 5400.0 // s, some eight times what a pod takes to follow its water
	goneShare = 0.15   // how well it is known what has gone in; see walkIngress
)

// NewLive prepares the estimate for a run. An error means that the sheet does not
// describe a vessel.
func NewLive(run setup.Run) (*Live, error) {
	if !(run.Bench.ChamberVolumeML > 0) {
		return nil, fmt.Errorf("live estimate: bench %q has no chamber_volume_ml", run.Bench.ID)
	}
	l := &Live{run: run, limit: (&analysis{run: run}).limit(), sealed: run.Unit.SealedPa, rank: math.MaxInt,
		lastPa: math.NaN(), lastT: math.NaN(), lowPa: math.NaN(), highPa: math.NaN(), stepFrom: math.NaN(), creepT: math.NaN(), over: math.NaN(), dt: 1}
	l.v = newVessel(run, run.Bench.RoomPa)
	noise := 50.0
	for _, s := range run.Bench.Sensors {
		if s.Measures == "chamber pressure" && s.NoisePa > 0 {
			noise = s.NoisePa
			break
		}
	}
	l.noise = newRoughness(noise)
	l.gasN = newRoughness(0.05)
	l.waterN = newRoughness(0.02)
	l.bank.init()
	return l, nil
}

// Line takes the next line of the record, in order of time. It does not keep x.
func (l *Live) Line(x *record.Line) {
	if !l.begun {
		l.start, l.begun = x.TimeNS, true
	}
	t := float64(x.TimeNS-l.start) / 1e9
	switch x.Measurement {
	case record.Chamber:
		// Temperatures first: they belong to the pressure of the same line.
		if !math.IsNaN(x.WaterC) {
			l.waterN.add(t, x.WaterC)
			l.water.add(t, x.WaterC, l.waterN.sd())
			l.sum.addWater(t, x.WaterC)
		}
		if !math.IsNaN(x.GasC) {
			if l.shut() {
				l.gasN.add(t, x.GasC)
			}
			l.sum.addGas(t, x.GasC)
		}
		if !math.IsNaN(x.PressurePa) && l.uses(x.Sensor, t) {
			l.pressure(t, x.PressurePa)
		}
	case record.Room:
		if x.PressurePa > 0 {
			l.room(x.PressurePa)
		}
	case record.Valve:
		if x.HasOpen {
			l.valve(x.Valve, x.Open, t)
		}
	case record.Stage:
		kind := x.Kind
		if !byChamber(kindOf(l.run.Profile.Stages, x.Index)) {
			kind = "" // the chamber says nothing of it
			l.warmTill = t + coolsFor
		}
		l.stage(kind, t)
	case record.Probe:
		l.wet(x)
	}
}

// Leak is the leak of the hold so far, or of the settle before it, ml/h; false
// until there is something to say and while the chamber is not shut for a stage.
func (l *Live) Leak() (Interval, bool) { return l.now, l.says }

// DetectionLimit is the least leak that this window would show so far, ml/h
// (Currie, both errors 5 %); false where Leak says nothing.
func (l *Live) DetectionLimit() (float64, bool) { return currie(l.u), l.says }

// Failed says whether the unit has failed beyond doubt: a leak above the limit of
// acceptance for a minute, a sudden loss of pressure, or a wet probe. It stays.
func (l *Live) Failed() bool { return l.failed }

// uses says whether this transducer is the one that is followed: the first of
// the sheet, another only while that one is silent.
func (l *Live) uses(sensor string, t float64) bool {
	if sensor == l.sensor && l.rank != math.MaxInt {
		l.lastPa = t
		return true
	}
	rank := len(l.run.Bench.Sensors)
	for i := range l.run.Bench.Sensors {
		if s := &l.run.Bench.Sensors[i]; s.ID == sensor && s.Measures == "chamber pressure" {
			rank = i
			break
		}
	}
	if rank < l.rank || t-l.lastPa > 30 {
		l.rank, l.sensor, l.lastPa = rank, sensor, t
		l.gate.clear()
		l.sum = liveBlock{}
		l.bank.freeOffset()
		return true
	}
	return false
}

func (l *Live) room(pa float64) {
	if l.v.roomPa == 0 {
		l.v.roomPa = pa
	}
	if l.sealed == 0 {
		l.sealed = pa
	}
}

func (l *Live) roomPa() float64 {
	if l.v.roomPa == 0 {
		l.v.roomPa = 101325
	}
	if l.sealed == 0 {
		l.sealed = l.v.roomPa
	}
	return l.v.roomPa
}

func (l *Live) shut() bool { return l.phase >= liveSettle && !l.fill && !l.vent }

func (l *Live) valve(name string, open bool, t float64) {
	was := l.shut()
	switch name {
	case "fill":
		l.fill = open
	case "vent":
		l.vent = open
	}
	l.moved(was, t)
}

func (l *Live) stage(kind string, t float64) {
	was := l.shut()
	old := l.phase
	switch kind {
	case "ramp":
		l.phase = liveRamp
		l.stepFrom = math.NaN()
		l.rampAt = t
	case "settle":
		l.phase = liveSettle
	case "hold":
		l.phase = liveHold
	default:
		l.phase = liveIdle
	}
	if l.phase < liveSettle {
		l.says, l.over = false, math.NaN()
		l.bank.live = false
	} else if old < liveSettle || old == liveHold {
		l.rampEnd = t
		if l.onset <= l.rampAt {
			l.onset = (l.rampAt + t) / 2
		}
		l.bank.live = false // a new window; it begins with its first block
		l.over = math.NaN()
	} else if old == liveSettle && l.phase == liveHold {
		l.flush()
		l.bank.inHold = true
	}
	l.moved(was, t)
}

// moved is called after valves or stages changed.
func (l *Live) moved(was bool, t float64) {
	now := l.shut()
	if was == now && now {
		return
	}
	l.release()
	l.gate.clear()
	if was && !now {
		l.flush()
		l.lowPa, l.highPa = l.gate.last, l.gate.last
	}
	l.sum = liveBlock{}
	l.since = t
	l.bank.part = false
}

func (l *Live) wet(x *record.Line) {
	wet := x.Wet
	if !x.HasWet {
		if math.IsNaN(x.Level) {
			return
		}
		wet = x.Level >= 0.5
	}
	for i := range l.probe {
		p := &l.probe[i]
		if p.used && p.sensor != x.Sensor {
			continue
		}
		p.used, p.sensor = true, x.Sensor
		if !wet {
			p.wet = 0
		} else if p.wet++; p.wet >= 2 {
			l.failed = true
		}
		return
	}
}

// pressure takes a reading of the chamber's pressure.
func (l *Live) pressure(t, pa float64) {
	if d := t - l.lastT; d > 0 {
		if l.gate.seen < 3 {
			l.dt = d
		} else if d < 3*l.dt {
			l.dt += (d - l.dt) / 32
		}
	} else if d <= 0 {
		return // a doubled or backward time stamp: the first stands
	}
	l.lastT = t
	if math.IsNaN(l.stepFrom) {
		l.stepFrom = pa
	}
	switch l.gate.take(t, pa, l.noise.sd(), l.dt, l.fill || l.vent) {
	case gatePass:
		l.accept(t, pa)
	case gateSpike:
		l.gate.n = 0
		l.accept(t, pa)
	case gateStep:
		l.flush()
		l.bank.freeOffset()
		if l.gate.loss && l.phase != liveIdle {
			l.failed = true
			l.onset = t
		}
		l.release()
	}
}

// release lets the readings through that were held back as possible spikes.
func (l *Live) release() {
	n := l.gate.n
	l.gate.n = 0
	for i := range n {
		l.accept(l.gate.pt[i], l.gate.pp[i])
	}
}

// accept takes a sound reading.
func (l *Live) accept(t, pa float64) {
	l.gate.push(t, pa)
	l.followCreep(t, pa)
	if !l.shut() {
		if !(pa >= l.lowPa) {
			l.lowPa = pa
		}
		if !(pa <= l.highPa) {
			l.highPa = pa
		}
		return
	}
	if t < l.since+1.2*l.dt {
		l.sum = liveBlock{}
		return
	}
	l.noise.add(t, pa)
	if l.sum.n > 0 && t >= l.sum.end {
		l.flush()
	}
	if l.sum.n == 0 {
		wide := max(3*l.dt, 2)
		l.sum.end = t + min(max((t-l.since)/8, wide), max(20, wide)) - l.dt/2
	}
	l.sum.n++
	l.sum.t += t
	l.sum.p += pa
}

// followCreep keeps how far a body under the chamber's pressure has given way,
// with one relaxation time (see analysis.creepAt).
func (l *Live) followCreep(t, pa float64) {
	if d := t - l.creepT; d > 0 {
		if !l.bank.live && l.conduct > 0 {
			l.take(l.conduct * max(pa-l.insidePa(), 0) * d / 3600)
		}
		l.creepPa += (pa - l.roomPa() - l.creepPa) * (1 - math.Exp(-d/assumed.SlowCreepS))
	}
	l.creepT = t
}

// flush hands the readings since the last time to the filters.
func (l *Live) flush() {
	b := l.sum
	l.sum = liveBlock{}
	if b.n == 0 || !l.shut() {
		return
	}
	b.mean()
	if !l.bank.live {
		l.gone0 = l.gone
		l.bank.open(l, &b)
	}
	if !l.bank.part {
		l.bank.openPart(l, &b)
	}
	l.bank.add(l, &b)
	l.judge(b.t)
}
