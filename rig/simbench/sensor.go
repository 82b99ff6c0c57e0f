package simbench

import (
	"math"
	"math/rand/v2"
	"time"

	"proofpot/sensors"
)

// device is a sensor at work.
type device struct {
	Sensor
	due      time.Duration
	chance   *rand.Rand
	channels []channelState
	faults   []*BenchFault
	gone     bool          // it was disconnected at the last reading
	booting  time.Duration // silent until then
	restarts []bool        // which of faults have already restarted it
}

type channelState struct {
	lagged float64
	slow   float64 // after a blocked snubber
	last   float64
	begun  bool
}

// bootTime is how long a device says nothing after it has started anew.
const bootTime = 2 * time.Second

// arrival is a reading on its way.
type arrival struct {
	reading sensors.Reading
	at      time.Duration
}

// sample takes a device's readings of the moment, good or bad.
func (b *Bench) sample(d *device) {
	now := b.now
	main := d.Channels[0].Quantity
	fail := func(s sensors.Status, text string) {
		b.queue = append(b.queue, arrival{sensors.Fault(d.ID, main, s, now, text), now})
	}
	stuck, late := false, time.Duration(0)
	lost, garbled, outside := b.fx.noPower, false, false
	silent := now < d.booting
	for i, f := range d.faults {
		if f.Kind == Restarts && now >= f.At && !d.restarts[i] {
			d.restarts[i], d.booting = true, now+bootTime
			fail(sensors.Restarted, "the device started anew")
			return
		}
		if !f.active(now) {
			continue
		}
		switch f.Kind {
		case Silent:
			silent = true
		case Stuck:
			stuck = true
		case Late:
			late += seconds(f.Value)
		case Unplugged:
			lost = true
		case OutOfRange:
			outside = true
		case Garbles:
			garbled = garbled || d.chance.Float64() < f.Value
		case Drops:
			silent = silent || d.chance.Float64() < f.Value
		}
	}
	if !lost && d.gone {
		d.gone, d.booting = false, now+bootTime
		fail(sensors.Restarted, "the device is back and started anew")
		return
	}
	d.gone = lost
	switch {
	case lost:
		fail(sensors.Disconnected, "the device is gone")
		return
	case silent:
		fail(sensors.NoReading, "no reading")
		return
	case garbled:
		fail(sensors.Garbled, "the line cannot be read")
		return
	}
	for i := range d.Channels {
		value := d.read(b, i, stuck)
		c := &d.Channels[i]
		if outside && i == 0 || c.Low < c.High && (value < c.Low || value > c.High) {
			fail(sensors.OutOfRange, "a value that the sensor cannot see")
			continue
		}
		b.queue = append(b.queue, arrival{sensors.Reading{Sensor: d.ID, Quantity: c.Quantity, Value: value, At: now + late}, now + late})
	}
}

// read gives the value of one channel with its flaws.
func (d *device) read(b *Bench, i int, stuck bool) float64 {
	c, s := &d.Channels[i], &d.channels[i]
	if stuck && s.begun {
		return s.last
	}
	truth := b.value(c.Quantity)
	if c.Quantity == sensors.ProbeWet || c.Quantity == sensors.ProbeLevel {
		return d.probe(b.now, s, truth)
	}
	every := d.Every.Seconds()
	if !s.begun {
		s.lagged, s.slow, s.begun = truth, truth, true
	}
	s.lagged += (truth - s.lagged) * every / (c.LagS + every)
	hours, warmer := b.now.Hours(), b.c.roomC-b.cfg.Room.StartC
	x := s.lagged
	noise := c.Noise
	drift, step, shift := c.DriftPerH*hours, c.Resolution, 0.0
	slow := 0.0
	if i == 0 {
		for _, f := range d.faults {
			if !f.active(b.now) {
				continue
			}
			switch f.Kind {
			case Drifts:
				drift += f.Value * (b.now - f.At).Hours()
			case Jumps:
				shift += f.Value
			case GainOff:
				shift += f.Value * (x - b.cfg.Room.StartPa)
			case Noisy:
				noise *= f.Value
			case Coarse:
				step = f.Value
			case Sluggish:
				slow = f.Value
			case ThermalZero:
				shift += f.Value * warmer
			case StemHeat:
				shift += f.Value * (b.c.roomC - x)
			case Sags:
				if b.fill.powered() || b.vent.powered() {
					shift -= f.Value
				}
			case Spikes:
				if d.chance.Float64() < f.Value*every/3600 {
					shift += b.spike(d, c.Quantity)
				}
			}
		}
	}
	s.slow += (x - s.slow) * every / (slow + every)
	x = s.slow + c.Offset + drift + c.ThermalPerK*warmer + shift
	if c.Gain != 0 {
		x += c.Gain * (s.slow - b.cfg.Room.StartPa)
	}
	if noise > 0 {
		x += noise * d.chance.NormFloat64()
	}
	if step > 0 {
		x = math.Round(x/step) * step
	}
	if c.Quantity == sensors.UnitHumidity || c.Quantity == sensors.RoomHumidity {
		x = min(max(x, 0), 100) // such a chip reports nothing beyond
	}
	s.last = x
	return x
}

// probe gives what a wet probe says of a true level, with its faults.
func (d *device) probe(now time.Duration, s *channelState, level float64) float64 {
	for _, f := range d.faults {
		if f.active(now) && f.Kind == FalseWet {
			level = 1
		}
		if f.active(now) && f.Kind == NeverWet {
			level = 0
		}
	}
	s.begun, s.last = true, level
	return level
}

// spike is one wild error: 0.1 bar to 2 bar of a pressure, 0.1 to 20 of others.
func (b *Bench) spike(d *device, q sensors.Quantity) float64 {
	size := math.Pow(20, d.chance.Float64())
	switch q {
	case sensors.ChamberPressure, sensors.UnitPressure, sensors.RoomPressure:
		size *= 0.1 * bar
	}
	if d.chance.Float64() < 0.5 {
		return -size
	}
	return size
}

// value gives the truth of a quantity, in its unit.
func (b *Bench) value(q sensors.Quantity) float64 {
	switch q {
	case sensors.ChamberPressure:
		return b.c.pa
	case sensors.ChamberGas:
		return b.c.gasK - zeroC
	case sensors.ChamberWater:
		return b.c.waterC
	case sensors.ChamberWall:
		return b.c.wallC
	case sensors.UnitPressure:
		return b.u.insidePa
	case sensors.UnitTemperature:
		return b.u.airC()
	case sensors.UnitHumidity:
		return b.insideRH()
	case sensors.ProbeWet:
		if b.u.liquidKg/1000 >= b.cfg.Unit.WetAtM3 {
			return 1
		}
		return 0
	case sensors.ProbeLevel:
		return min(b.u.liquidKg/1000/b.cfg.Unit.WetAtM3, 1)
	case sensors.LidOpen:
		return oneIf(b.fx.lidOpen || b.fx.lidSwitch)
	case sensors.StopOpen:
		return oneIf(b.fx.stop)
	case sensors.FloatOpen:
		return oneIf(b.fx.float)
	case sensors.RoomPressure:
		return b.c.roomPa
	case sensors.RoomTemperature:
		return b.c.roomC
	case sensors.RoomHumidity:
		return b.cfg.Room.HumidityPct
	}
	return math.NaN()
}

func oneIf(x bool) float64 {
	if x {
		return 1
	}
	return 0
}

func (b *Bench) insideRH() float64 {
	if b.fullKg <= 0 {
		return b.cfg.Unit.StartRHPct
	}
	return 100 * b.u.vapourKg / b.fullKg
}
