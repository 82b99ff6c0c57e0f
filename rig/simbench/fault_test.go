package simbench

import (
	"math"
	"testing"
	"time"

	"proofpot/rig"
	"proofpot/sensors"
)

// story is what a run showed: ten minutes at 3 m and ten at 12 m, then half a
// minute of venting.
type story struct {
	all    []sensors.Reading
	truth  Truth // before the vent
	vented Truth
	b      *Bench
	refuse int // times that Drive gave an error
}

func tell(t *testing.T, texts ...string) *story {
	t.Helper()
	c := withBenchFault(t, config(t, 21), texts...)
	c.Supply.TankM3 = 0.12 * litre // small, so that it is filled again within the story
	s := &story{b: bench(t, c)}
	k := control(t, s.b)
	k.keep = true
	drive := func(v rig.Valves, until time.Duration) {
		for k.now.Mono < until {
			k.now.Mono += k.period
			s.all = s.b.Read(k.now, s.all)
			if s.b.Drive(k.now, v) != nil {
				s.refuse++
			}
		}
	}
	// By the clock, so that runs with and without a fault can be laid side by side.
	drive(rig.Valves{}, 5*time.Second)
	drive(rig.Valves{Fill: true}, 23*time.Second)
	drive(rig.Valves{}, 10*time.Minute)
	drive(rig.Valves{Fill: true}, 10*time.Minute+48*time.Second)
	drive(rig.Valves{}, 20*time.Minute)
	s.truth = s.b.Truth()
	drive(rig.Valves{Vent: true}, 20*time.Minute+30*time.Second)
	s.vented = s.b.Truth()
	return s
}

// count gives how many readings of a sensor had a status within a span.
func (s *story) count(id string, status sensors.Status, from, to time.Duration) (n int) {
	for _, r := range s.all {
		if r.Sensor == id && r.Status == status && r.At >= from && r.At < to {
			n++
		}
	}
	return n
}

// values gives the good values of a sensor's first channel within a span.
func (s *story) values(id string, from, to time.Duration) (v []float64) {
	q := sensors.Quantity(255)
	for _, d := range s.b.devices {
		if d.ID == id {
			q = d.Channels[0].Quantity
		}
	}
	for _, r := range s.all {
		if r.Sensor == id && r.Quantity == q && r.Status == sensors.OK && r.At >= from && r.At < to {
			v = append(v, r.Value)
		}
	}
	return v
}

func mean(v []float64) (m float64) {
	for _, x := range v {
		m += x / float64(len(v))
	}
	return m
}

// scatter is the standard deviation of the steps between neighbours, over √2.
func scatter(v []float64) float64 {
	sum := 0.0
	for i := 1; i < len(v); i++ {
		sum += (v[i] - v[i-1]) * (v[i] - v[i-1])
	}
	return math.Sqrt(sum / float64(len(v)-1) / 2)
}

const (
	minute = time.Minute
	late   = 12 * time.Minute // the second hold from here to the end
	end    = 20 * time.Minute
)

// Each kind of fault, and the sign by which a bench shows it against the same
// bench without it; nil where it takes a test of its own.
var signs = [faultKinds]struct {
	text string
	seen func(with, without *story) bool
}{
	Silent: {"silent p1 at 13 min for 1 min", func(w, _ *story) bool {
		return w.count("p1", sensors.NoReading, 0, end) == 120 && w.count("p1", sensors.NoReading, 13*minute, 14*minute) == 120
	}},
	Stuck: {"stuck p1 at 13 min", func(w, o *story) bool {
		return scatter(w.values("p1", 13*minute, end)) == 0 && scatter(o.values("p1", 13*minute, end)) > 0
	}},
	Spikes: {"spikes p1, 60 per h", func(w, o *story) bool {
		n := 0
		for _, x := range w.values("p1", late, end) {
			if math.Abs(x-o.truth.ChamberPa) > 5000 {
				n++
			}
		}
		return n >= 2 && n <= 20
	}},
	Garbles: {"garbles p1, 10 %", func(w, _ *story) bool { return share01(w.count("p1", sensors.Garbled, 0, end), 0.1) }},
	OutOfRange: {"out of range p1 at 13 min for 1 min", func(w, _ *story) bool {
		return w.count("p1", sensors.OutOfRange, 13*minute, 14*minute) == 120
	}},
	Unplugged: {"unplugged p1 at 13 min for 1 min", func(w, _ *story) bool {
		return w.count("p1", sensors.Disconnected, 13*minute, 14*minute) == 120 && w.count("p1", sensors.Restarted, 14*minute, 14*minute+time.Second) == 1 &&
			w.count("p1", sensors.OK, 15*minute, end) == 600
	}},
	Restarts: {"restarts p1 at 13 min", func(w, _ *story) bool {
		return w.count("p1", sensors.Restarted, 0, end) == 1 && w.count("p1", sensors.NoReading, 13*minute, 14*minute) == 3
	}},
	Drops: {"drops p1, 5 %", func(w, _ *story) bool { return share01(w.count("p1", sensors.NoReading, 0, end), 0.05) }},
	Late: {"late p1, 3 s", func(w, o *story) bool { // the ramp is seen 3 s later
		return w.values("p1", 13*time.Second, 14*time.Second)[0] == o.values("p1", 10*time.Second, 11*time.Second)[0]
	}},
	Drifts: {"drifts p1, 3000 Pa/h", func(w, o *story) bool {
		return within(w.last("p1")-o.last("p1"), 3000*0.33, 60)
	}},
	Jumps: {"jumps p1, 5 mbar at 13 min", func(w, o *story) bool {
		return within(w.last("p1")-o.last("p1"), 500, 12) && within(mean(w.values("p1", late, 13*minute))-mean(o.values("p1", late, 13*minute)), 0, 1)
	}},
	GainOff: {"gain off p1, 2 %", func(w, o *story) bool {
		return within(w.last("p1")-o.last("p1"), 0.02*(o.truth.ChamberPa-w.b.cfg.Room.StartPa), 15)
	}},
	Noisy: {"noisy p1, 10 times", func(w, o *story) bool {
		return within(scatter(w.values("p1", late, end))/scatter(o.values("p1", late, end)), 10, 1)
	}},
	Coarse: {"coarse p1, 10 mbar", func(w, _ *story) bool {
		for _, x := range w.values("p1", late, end) {
			if math.Mod(x, 1000) != 0 {
				return false
			}
		}
		return true
	}},
	Sluggish: {"sluggish p1, 30 s", func(w, o *story) bool {
		at, to := 10*minute+10*time.Second, 10*minute+30*time.Second
		return mean(w.values("p1", at, to)) < mean(o.values("p1", at, to))-3e4
	}},
	ThermalZero: {"thermal zero p1, 2000 Pa/K", func(w, o *story) bool {
		return within(w.last("p1")-o.last("p1"), 2000*(o.truth.RoomC-w.b.cfg.Room.StartC), 60) && math.Abs(w.last("p1")-o.last("p1")) > 50
	}},
	StemHeat: {"stem heat t2, 20 %", func(w, o *story) bool {
		apart := o.truth.RoomC - o.truth.WaterC
		return math.Abs(apart) > 0.05 && within(w.last("t2")-o.last("t2"), 0.2*apart, 0.005)
	}},
	Sags: {"sags p1, 5 mbar", func(w, o *story) bool {
		at := func(s *story) float64 { return mean(s.values("p1", 10*minute+5*time.Second, 10*minute+35*time.Second)) }
		return within(at(w)-at(o), -500, 12) && within(w.last("p1")-o.last("p1"), -500, 12) // shut, the vent is powered
	}},
	FalseWet: {"false wet w1 at 13 min", func(w, _ *story) bool {
		return mean(w.values("w1", 0, 13*minute)) == 0 && within(mean(w.values("w1", 13*minute, end)), 1, 1e-9)
	}},
	NeverWet:      {"never wet w1", nil},
	FillStuckShut: {"fill valve stuck shut at 5 min", func(w, o *story) bool { return w.truth.ChamberPa < o.truth.ChamberPa-1e5 }},
	FillStuckOpen: {"fill valve stuck open at 13 min for 10 s", func(w, o *story) bool { return w.truth.PeakPa > o.truth.PeakPa+1e4 }},
	FillPasses: {"fill valve passes, 200 ml/h", func(w, o *story) bool {
		return w.b.sum.gasIn > o.b.sum.gasIn && w.truth.ChamberPa > o.truth.ChamberPa+2e3
	}},
	FillSlow: {"fill valve slow, 2 s", func(w, o *story) bool {
		at, to := 10*minute+500*time.Millisecond, 10*minute+2*time.Second
		return mean(w.values("p1", at, to)) < mean(o.values("p1", at, to))-500
	}},
	FillBlocked:   {"fill valve blocked, 80 %", func(w, o *story) bool { return w.truth.ChamberPa < o.truth.ChamberPa-5e4 }},
	VentStuckShut: {"vent valve stuck shut", func(w, _ *story) bool { return w.vented.ChamberPa > w.truth.ChamberPa-1e3 }},
	VentStuckOpen: {"vent valve stuck open at 13 min", func(w, o *story) bool { return w.truth.ChamberPa < o.truth.ChamberPa-1e5 }},
	VentPasses:    {"vent valve passes, 50 ml/h", func(w, o *story) bool { return w.truth.ChamberPa < o.truth.ChamberPa-1e3 }},
	VentSlow:      {"vent valve slow, 10 s", func(w, o *story) bool { return w.vented.ChamberPa > o.vented.ChamberPa+5e3 }},
	VentBlocked:   {"vent valve blocked, 80 %", func(w, o *story) bool { return w.vented.ChamberPa > o.vented.ChamberPa+3e4 }},
	DriveFails: {"drive fails at 10 min for 20 s", func(w, o *story) bool {
		return w.refuse == 40 && w.truth.ChamberPa < o.truth.ChamberPa-2e4
	}},
	PowerCut: {"power cut at 13 min for 1 min", func(w, o *story) bool {
		return w.refuse == 120 && w.truth.ChamberPa < o.truth.ChamberPa-5e4 && w.count("u1", sensors.Disconnected, 0, end) == 30 && w.count("u1", sensors.OK, 16*minute, end) > 300
	}},
	SupplyEmpty:     {"supply empty at 5 min", func(w, o *story) bool { return w.truth.ChamberPa < o.truth.ChamberPa-1e5 }},
	SupplyWeak:      {"supply weak, 1 bar", func(w, o *story) bool { return w.truth.PeakPa < w.b.cfg.Room.StartPa+1.001e5 }},
	SupplySurges:    {"supply surges, 16 bar", func(w, o *story) bool { return w.truth.PeakPa > o.truth.PeakPa+3e4 }},
	CompressorOff:   {"compressor off", func(w, o *story) bool { return w.b.c.tankMol < 0.9*o.b.c.tankMol }},
	BenchLeaks:      {"bench leaks, 20 ml/h", func(w, o *story) bool { return w.truth.ChamberPa < o.truth.ChamberPa-2e3 && w.truth.IngressML == 0 }},
	LidOpens:        {"lid opens at 13 min", func(w, _ *story) bool { return w.truth.ChamberPa < w.truth.RoomPa+100 }},
	LidSwitch:       {"lid switch opens at 13 min", shows(sensors.LidOpen)},
	StopPressed:     {"stop pressed at 13 min", shows(sensors.StopOpen)},
	FloatOpens:      {"float switch opens at 13 min", shows(sensors.FloatOpen)},
	RegulatorSticks: {"regulator sticks at 13 min", nil},
	ReliefWeeps:     {"relief weeps, 1 l/h", nil},
	ReliefLow: {"relief opens, 1 bar", func(w, o *story) bool {
		return w.truth.PeakPa < w.b.cfg.Room.StartPa+1.2e5 && o.truth.PeakPa > o.b.cfg.Room.StartPa+1.5e5
	}},
	BareSurface: {"bare water", func(w, o *story) bool { return w.b.sum.dissolved > 20*o.b.sum.dissolved }},
	TrappedGas: {"trapped gas, 50 ml", func(w, o *story) bool {
		return within(w.truth.CushionML-o.truth.CushionML, 50, 3) && w.truth.ChamberPa < o.truth.ChamberPa-1e4
	}},
	RoomWarms:     {"room warms, 3 K/h", func(w, o *story) bool { return within(w.truth.RoomC-o.truth.RoomC, 1, 0.01) }},
	HeatingSwings: {"heating swings, 3 K", func(w, o *story) bool { return scatterOf(w, "r1") > 5*scatterOf(o, "r1") }},
	DaySwings:     {"day swings, 40 K", func(w, o *story) bool { return math.Abs(w.truth.RoomC-o.truth.RoomC) > 1 }},
	ColdWater:     {"cold water, 8 K", func(w, o *story) bool { return within(w.truth.WaterC-o.truth.WaterC, -8, 0.5) }},
	WarmUnit: {"warm unit, 15 K", func(w, o *story) bool {
		return mean(w.values("u1", 0, minute)) < mean(o.values("u1", 0, minute))+8000 && w.truth.UnitC < o.truth.UnitC+5 &&
			w.truth.InsidePa < o.truth.InsidePa-2500
	}},
	WetPrint: {"wet print, 95 %", func(w, o *story) bool { return w.truth.InsideRHPct > o.truth.InsideRHPct+3 && w.truth.IngressML == 0 }},
	ReadyCreep: {"creeping wall, 20 times", func(w, o *story) bool {
		return w.b.u.creep() > 15*o.b.u.creep() && w.truth.ChamberPa < o.truth.ChamberPa-100
	}},
}

// shows is the sign of a switch that stands open at the end.
func shows(q sensors.Quantity) func(w, o *story) bool {
	return func(w, _ *story) bool { return w.b.value(q) == 1 && w.truth.ChamberPa > w.truth.RoomPa+1e5 }
}

func share01(n int, want float64) bool { return within(float64(n)/2400, want, 0.02) }

func within(got, want, tolerance float64) bool { return math.Abs(got-want) <= tolerance }

// last is the mean of the last minute before the vent.
func (s *story) last(id string) float64 { return mean(s.values(id, end-minute, end)) }

// scatterOf is the spread of the room's temperature.
func scatterOf(s *story, id string) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for _, r := range s.all {
		if r.Sensor == id && r.Quantity == sensors.RoomTemperature {
			low, high = min(low, r.Value), max(high, r.Value)
		}
	}
	return high - low
}

func TestEveryFaultOfTheBenchShows(t *testing.T) {
	without := tell(t)
	for kind := range faultKinds {
		sign := &signs[kind]
		f, err := ParseBenchFault(sign.text)
		if err != nil || f.Kind != kind {
			t.Errorf("%s: %q is read as %v, %v", kind, sign.text, f.Kind, err)
			continue
		}
		if sign.seen == nil {
			continue
		}
		if !sign.seen(tell(t, sign.text), without) {
			t.Errorf("%s: %q does not show", kind, sign.text)
		}
		if sign.seen(without, without) {
			t.Errorf("%s: shows on a sound bench", kind)
		}
	}
}

func TestNeverWetHidesTheWater(t *testing.T) {
	c := withUnitFault(t, config(t, 3), "seep at 10 m, 60 ml/h")
	wet := func(c Config) (n float64) {
		for _, r := range run(t, c, 10*time.Minute, 12).all {
			if r.Quantity == sensors.ProbeWet {
				n += r.Value
			}
		}
		return n
	}
	if wet(c) == 0 {
		t.Fatal("the probe stays dry in water")
	}
	if wet(withBenchFault(t, c, "never wet w1")) != 0 {
		t.Error("a probe with an open wire says wet")
	}
}

func TestAReliefValveWeepsNearItsSetting(t *testing.T) {
	pa := func(texts ...string) float64 { return tell(t, texts...).truth.ChamberPa }
	if pa("relief weeps, 1 l/h") != pa() {
		t.Error("it weeps far below its setting of 11 bar")
	}
	if lost := pa("relief opens, 1.7 bar") - pa("relief opens, 1.7 bar", "relief weeps, 1 l/h"); lost < 1000 {
		t.Errorf("at 1.5 bar with a setting of 1.7 bar it loses %.0f Pa", lost)
	}
}

func TestAnEmptyTankStarvesTheChamber(t *testing.T) {
	c := withBenchFault(t, config(t, 3), "compressor off")
	c.Supply.TankM3 = 1 * litre // 12 bar in 1 l: enough for 300 ml at 30 m, not for a second time
	b := bench(t, c)
	k := control(t, b)
	for range 12 {
		k.to(37.5, 20)
		k.to(3, 60)
	}
	k.to(60, 20)
	if b.c.pa > c.Room.StartPa+lake(50) {
		t.Errorf("the tank still gives %.1f bar", b.c.pa/bar)
	}
	near(t, "gas of tank and chamber", b.c.tankMol, c.Supply.TankPa*c.Supply.TankM3/gasConstant/(b.cfg.Room.StartC+zeroC)-b.sum.gasIn, 1e-9)
}

func TestTheReliefValveCapsASurge(t *testing.T) {
	c := withBenchFault(t, config(t, 3), "supply surges, 20 bar", "fill valve stuck open at 1 min")
	b := bench(t, c)
	k := control(t, b)
	k.hold(20 * time.Minute)
	if gauge := (b.peakPa - c.Room.StartPa) / bar; gauge < 11 || gauge > 12.1 {
		t.Errorf("peak at %.2f bar gauge, the relief valve is set to 11", gauge)
	}
}
