package simbench

import "time"

// valve is a solenoid valve: told, it moves after a delay; at rest without power.
type valve struct {
	open    bool // as it stands
	told    bool // as it was last told
	moveAt  time.Duration
	moving  bool
	rest    bool // how it stands without power
	pulsed  bool // to be told shut at endAt
	endAt   time.Duration
	opening time.Duration
	closing time.Duration
}

// tell powers the valve or lets it go. A change back before it has moved leaves
// it where it is: a pulse shorter than the delay is swallowed.
func (v *valve) tell(open bool, now, extra time.Duration) {
	if open == v.told {
		return
	}
	v.told = open
	delay := v.closing
	if open {
		delay = v.opening
	}
	v.moving, v.moveAt = true, now+delay+extra
}

// pulse tells the valve shut after a time; 0: it stays as it was told.
func (v *valve) pulse(now, length time.Duration) {
	v.pulsed, v.endAt = v.told && length > 0, now+length
}

func (v *valve) settle(now time.Duration) {
	if v.moving && v.moveAt <= now {
		v.moving, v.open = false, v.told
	}
}

// drop takes the power away: the spring moves the valve at once.
func (v *valve) drop() { v.open, v.told, v.moving, v.pulsed = v.rest, v.rest, false, false }

// powered says whether its coil draws current.
func (v *valve) powered() bool { return v.told != v.rest }

// effects is what the bench's faults do at the moment.
type effects struct {
	fillStuck, ventStuck   stuckness
	fillPasses, ventPasses float64 // m³/s at chamber pressure
	fillShare, ventShare   float64 // of the full flow
	fillExtra, ventExtra   time.Duration
	driveFails, noPower    bool
	supplyPa               float64 // Pa
	surge                  bool    // the tank does not bound it
	compressorOff          bool
	leak                   float64 // m³/(s Pa) of gauge pressure
	lidOpen                bool
	regulatorStuck         bool
	lidSwitch, stop, float bool    // switches that open
	weep                   float64 // m³/s
	reliefPa               float64 // Pa
}

type stuckness uint8

const (
	free stuckness = iota
	stuckShut
	stuckOpen
)

// share gives how far a valve stands open, 0 to 1.
func share(v *valve, s stuckness, full float64) float64 {
	if s == stuckOpen || s == free && v.open {
		return full
	}
	return 0
}

// applyFaults works out the effects at a time.
func (b *Bench) applyFaults(now time.Duration) {
	room := b.cfg.Room.StartPa
	e := effects{fillShare: 1, ventShare: 1, supplyPa: b.cfg.Supply.Pa, reliefPa: b.cfg.Chamber.ReliefPa}
	for i := range b.cfg.BenchFaults {
		f := &b.cfg.BenchFaults[i]
		if !f.active(now) {
			continue
		}
		switch f.Kind {
		case FillStuckShut:
			e.fillStuck = stuckShut
		case FillStuckOpen:
			e.fillStuck = stuckOpen
		case FillPasses:
			e.fillPasses += f.Value
		case FillSlow:
			e.fillExtra += seconds(f.Value)
		case FillBlocked:
			e.fillShare *= max(0, 1-f.Value)
		case VentStuckShut:
			e.ventStuck = stuckShut
		case VentStuckOpen:
			e.ventStuck = stuckOpen
		case VentPasses:
			e.ventPasses += f.Value
		case VentSlow:
			e.ventExtra += seconds(f.Value)
		case VentBlocked:
			e.ventShare *= max(0, 1-f.Value)
		case DriveFails:
			e.driveFails = true
		case PowerCut:
			e.noPower = true
		case SupplyEmpty:
			e.supplyPa = room
		case SupplyWeak:
			e.supplyPa = min(e.supplyPa, room+f.Value)
		case SupplySurges:
			e.supplyPa, e.surge = max(e.supplyPa, room+f.Value), true
		case CompressorOff:
			e.compressorOff = true
		case BenchLeaks:
			e.leak += f.Value / bar
		case LidOpens:
			e.lidOpen = true
		case LidSwitch:
			e.lidSwitch = true
		case StopPressed:
			e.stop = true
		case FloatOpens:
			e.float = true
		case RegulatorSticks:
			e.regulatorStuck = true
		case ReliefWeeps:
			e.weep += f.Value
		case ReliefLow:
			e.reliefPa = room + f.Value
		}
	}
	if e.noPower {
		b.fill.drop()
		b.vent.drop()
	}
	b.fx = e
}
