package simbench

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"proofpot/rig"
	"proofpot/sensors"
)

// Bench is a simulated bench at work. It implements rig.Devices, and
// rig.Prompted for a bench that a person operates. It is not safe for
// concurrent use.
type Bench struct {
	cfg   Config
	start time.Time
	dayS  float64 // second of the day at the start

	now    time.Duration
	within float64 // s since now, inside advance
	c      chamber
	u      unitState
	paths  []path
	fill   valve
	vent   valve
	fx     effects
	op     operator

	drivenAt time.Duration   // when the valves were last reached, and the heartbeat last changed
	fallen   bool            // the watchdog relay has taken their power
	silent   bool            // the heartbeat is stopped
	left     bool            // the process that drives them has ended
	askedPa  float64         // of the regulator, absolute
	outletPa float64         // what it gives, absolute
	edges    []time.Duration // when a fault begins or ends, sorted
	edge     int

	devices   []device
	queue     []arrival
	weatherAt float64 // s, when the room is next looked at: it changes slowly
	closed    bool

	// Of the present temperatures.
	base, elastic, rho, alpha, henry, muWater, fullKg float64

	sum    ledger
	peakPa float64
	truth  Truth
}

var (
	_ rig.Devices  = (*Bench)(nil)
	_ rig.Prompted = (*Bench)(nil)
)

// New makes a bench that stands vented at start, with the unit in it.
func New(cfg Config, start time.Time) (*Bench, error) {
	cfg.Sensors = slices.Clone(cfg.Sensors)
	cfg.UnitFaults = slices.Clone(cfg.UnitFaults)
	cfg.BenchFaults = slices.Clone(cfg.BenchFaults)
	cfg.applyConditions()
	if err := cfg.check(); err != nil {
		return nil, err
	}
	b := &Bench{cfg: cfg, start: start, dayS: float64(start.UTC().Hour()*3600 + start.UTC().Minute()*60 + start.UTC().Second())}
	s := &b.cfg.Supply
	b.fill = valve{opening: s.OpenDelay, closing: s.CloseDelay}
	b.vent = valve{open: true, told: true, rest: true, opening: s.CloseDelay, closing: s.OpenDelay}
	b.op = operator{Habits: cfg.Operator, chance: b.chance("operator"), vent: 1}
	for i := range b.cfg.UnitFaults {
		f := b.cfg.UnitFaults[i]
		if f.OpenPa <= 0 {
			f.OpenPa = cfg.GaugePa(f.DepthM)
		}
		b.paths = append(b.paths, path{UnitFault: f})
	}
	if err := b.plugIn(); err != nil {
		return nil, err
	}
	for i := range b.cfg.BenchFaults {
		f := &b.cfg.BenchFaults[i]
		b.edges = append(b.edges, f.At)
		if f.For > 0 {
			b.edges = append(b.edges, f.At+f.For)
		}
	}
	slices.Sort(b.edges)
	b.begin()
	return b, nil
}

// begin puts the physics at rest, vented.
func (b *Bench) begin() {
	c, cfg := &b.c, &b.cfg.Chamber
	c.roomPa, c.roomC = b.cfg.Room.weather(0, b.dayS)
	c.pa = b.cfg.Room.StartPa
	c.waterC, c.wallC, c.gasK = cfg.StartC, cfg.StartC, cfg.StartC+zeroC
	b.muWater = waterViscosity(cfg.StartC)
	b.henry = airSolubility(cfg.StartC + zeroC)
	if b.cfg.Supply.TankM3 > 0 {
		c.tankMol = b.cfg.Supply.TankPa * b.cfg.Supply.TankM3 / (gasConstant * (c.roomC + zeroC))
	}
	u := &b.u
	u.present = b.cfg.Unit.OuterM3 > 0
	if u.present {
		u.celsius, u.startC = b.cfg.Unit.StartC, b.cfg.Unit.StartC
		u.insideM3, u.sorbedKg = b.cfg.Unit.FreeM3, b.cfg.Unit.SorbKg
		kelvin := u.celsius + zeroC
		vapourPa := b.cfg.Unit.StartRHPct / 100 * saturationPa(kelvin)
		u.vapourKg = vapourPa / (vapourR * kelvin) * u.insideM3
		b.fullKg = saturationPa(kelvin) / (vapourR * kelvin) * u.insideM3
		u.airMol = (b.cfg.Unit.SealedPa - vapourPa) * u.insideM3 / (gasConstant * kelvin)
		u.insidePa = b.cfg.Unit.SealedPa
	}
	// At this pressure the unit is not squeezed beyond what it was sealed at, so
	// that the water is what the cushion and the unit leave.
	gas := cfg.VolumeM3 - b.cfg.Unit.OuterM3
	if !cfg.Gas {
		outer, squeeze := u.outside(&b.cfg.Unit)
		water := cfg.VolumeM3 - cfg.CushionM3 - (outer - squeeze*c.pa)
		gas = cfg.CushionM3
		c.waterKg = water * waterDensity(c.waterC) / (1 - waterCompressibility(c.waterC)*(c.pa-standardPa))
		c.airMol = b.henry * c.pa * water
	}
	b.volumes()
	c.gasM3 = b.gasM3(c.pa)
	c.gasMol = max(c.pa*c.gasM3/(gasConstant*c.gasK), 1e-12)
	if !math.IsInf(cfg.CushionTauS, 1) {
		c.exchange = max(gas, 1e-8) * c.pa / (gasConstant * c.gasK) * cv / cfg.CushionTauS
	}
	b.peakPa = c.pa
	b.applyFaults(0)
}

// plugIn makes the sensors, each with the faults that are about it.
func (b *Bench) plugIn() error {
	ids := make([]string, 0, len(b.cfg.Sensors))
	for i := range b.cfg.Sensors {
		s := b.cfg.Sensors[i]
		ids = append(ids, s.ID)
		b.devices = append(b.devices, device{Sensor: s, chance: b.chance(s.ID), channels: make([]channelState, len(s.Channels))})
	}
	for i := range b.cfg.BenchFaults {
		f := &b.cfg.BenchFaults[i]
		if !benchFaultKinds[f.Kind].sensor {
			continue
		}
		about := sensors.ChamberPressure
		switch f.Kind {
		case FalseWet, NeverWet:
			about = sensors.ProbeWet
		case StemHeat:
			about = sensors.ChamberWater
		}
		found := false
		for j := range b.devices {
			d := &b.devices[j]
			if f.Sensor == d.ID || f.Sensor == "" && d.Channels[0].Quantity == about {
				d.faults = append(d.faults, f)
				d.restarts = append(d.restarts, false)
				found = true
				break
			}
		}
		switch {
		case !found && f.Sensor == "":
			return fmt.Errorf("fault %q: no sensor of this bench measures %s", f.Kind, about)
		case !found:
			return fmt.Errorf("fault %q: found sensor %q, want one of %s", f.Kind, f.Sensor, strings.Join(ids, ", "))
		}
	}
	most := 0
	for i := range b.devices {
		most += len(b.devices[i].Channels)
	}
	b.queue = make([]arrival, 0, 64*most)
	return nil
}

// chance makes a stream of its own for a part of the bench, so that a sensor
// more or less does not change what the others show.
func (b *Bench) chance(of string) *rand.Rand {
	const offset, prime = 14695981039346656037, 1099511628211 // FNV-1a
	h := uint64(offset)
	for i := range len(of) {
		h = (h ^ uint64(of[i])) * prime
	}
	return rand.New(rand.NewPCG(b.cfg.Seed, h))
}

// Read appends the readings that have arrived since the last call.
func (b *Bench) Read(now rig.Instant, to []sensors.Reading) []sensors.Reading {
	b.advance(now.Mono)
	kept := b.queue[:0]
	for _, a := range b.queue {
		if a.at <= b.now {
			to = append(to, a.reading)
		} else {
			kept = append(kept, a)
		}
	}
	b.queue = kept
	return to
}

// ErrDrive is what Drive gives while the valves cannot be reached.
var ErrDrive = errors.New("valves: no answer from the relays")

// Drive tells the valves. On a hand-operated bench there are none.
func (b *Bench) Drive(now rig.Instant, want rig.Valves) error {
	b.advance(now.Mono)
	if b.cfg.HandOperated {
		return nil
	}
	if b.closed {
		return errors.New("valves: driven after the bench was closed")
	}
	if b.fx.driveFails || b.fx.noPower {
		return ErrDrive
	}
	if b.left = false; !b.silent {
		b.drivenAt, b.fallen = b.now, false
	}
	if b.fallen {
		return nil // the relays obey, and their valves have no power
	}
	b.fill.tell(want.Fill, b.now, b.fx.fillExtra)
	b.vent.tell(want.Vent, b.now, b.fx.ventExtra)
	b.fill.pulse(b.now, want.Pulse)
	b.vent.pulse(b.now, want.Pulse)
	b.askedPa = want.RegulatePa
	return nil
}

// Silence implements rig.Beating.
func (b *Bench) Silence(on bool) error {
	b.silent = on
	return nil
}

// Leave is the end of the process that drives the valves, without a word: they
// stand as they were told, pulses that it would have ended go on, and no heartbeat
// comes, until Drive is called again.
func (b *Bench) Leave(now rig.Instant) {
	b.advance(now.Mono)
	b.left = true
}

// falls gives when the watchdog relay takes the valves' power.
func (b *Bench) falls() (at time.Duration, ok bool) {
	w := b.cfg.Supply.Watchdog
	return max(b.drivenAt+w, b.now), w > 0 && !b.fallen && !b.cfg.HandOperated && (b.left || b.silent || b.fx.driveFails || b.fx.noPower)
}

// Close takes the power from the valves: fill shut, vent open.
func (b *Bench) Close() error {
	b.closed = true
	b.fill.drop()
	b.vent.drop()
	return nil
}

// advance goes on to a time since the start. Every change on the way, a valve
// that moves, a fault, a stroke, a reading, happens at its very moment.
func (b *Bench) advance(to time.Duration) {
	for {
		stop := to
		for i := range b.devices {
			stop = min(stop, b.devices[i].due)
		}
		if b.fill.moving {
			stop = min(stop, b.fill.moveAt)
		}
		if b.vent.moving {
			stop = min(stop, b.vent.moveAt)
		}
		reached := !b.fx.driveFails && !b.left // the driver shuts a pulse, when it reaches the valve
		ended := reached || b.cfg.Supply.OwnPulses
		if at, ok := b.falls(); ok {
			stop = min(stop, at)
		}
		if b.fill.pulsed && ended {
			stop = min(stop, max(b.fill.endAt, b.now))
		}
		if b.vent.pulsed && reached {
			stop = min(stop, max(b.vent.endAt, b.now))
		}
		if b.edge < len(b.edges) {
			stop = min(stop, b.edges[b.edge])
		}
		stop = min(stop, b.op.next())
		if stop > b.now {
			b.physics((stop - b.now).Seconds())
			b.now = stop
		}
		if at, ok := b.falls(); ok && at <= b.now {
			b.fallen = true
			b.fill.drop()
			b.vent.drop()
		}
		if b.fill.pulsed && ended && b.fill.endAt <= b.now {
			b.fill.pulsed = false
			b.fill.tell(false, b.now, b.fx.fillExtra)
		}
		if b.vent.pulsed && reached && b.vent.endAt <= b.now {
			b.vent.pulsed = false
			b.vent.tell(false, b.now, b.fx.ventExtra)
		}
		b.fill.settle(b.now)
		b.vent.settle(b.now)
		for b.edge < len(b.edges) && b.edges[b.edge] <= b.now {
			b.edge++
			b.applyFaults(b.now)
		}
		if b.op.next() <= b.now {
			if b.op.act(b.now, b.c.pa) {
				b.workOnUnit(b.op.heard)
			}
		}
		sampled := false
		for i := range b.devices {
			if d := &b.devices[i]; d.due <= b.now {
				b.sample(d)
				d.due += d.Every
				sampled = true
			}
		}
		if b.now >= to && !sampled {
			return
		}
	}
}

// regulatorS is the time constant of an electro-pneumatic regulator, s; common
// practice, no source.
const regulatorS = 0.15

// regulate keeps the regulator's outlet in what it can give.
func (b *Bench) regulate() {
	if b.fx.regulatorStuck {
		b.askedPa = b.outletPa
	}
	b.askedPa = max(b.askedPa, b.c.roomPa)
	b.outletPa = max(b.outletPa, b.c.roomPa)
}

// physics goes on by some seconds with valves and faults as they are.
func (b *Bench) physics(left float64) {
	b.within = 0
	t := b.now.Seconds()
	for left > 1e-12 {
		if now := t + b.within; now >= b.weatherAt {
			b.c.roomPa, b.c.roomC = b.cfg.Room.weather(now, b.dayS)
			b.weatherAt = now + longestS
		}
		b.regulate()
		f := b.flow()
		h := b.stepSize(&f, left)
		b.outletPa += (b.askedPa - b.outletPa) * -math.Expm1(-h/regulatorS)
		b.step(h, &f)
		b.within += h
		left -= h
	}
	b.within = 0
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
