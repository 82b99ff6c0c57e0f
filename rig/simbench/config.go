package simbench

import (
	"fmt"
	"math"
	"time"

	"proofpot/sensors"
)

// Config describes a bench, the unit in it, what is wrong with them and the
// seed of every chance. SI units, absolute pressures, °C where a name ends in C.
type Config struct {
	Seed    uint64
	GaugePa func(depthM float64) float64 // hydrostatic gauge pressure Pa; needed by faults that open at a depth

	Room    Room
	Chamber Chamber
	Supply  Supply
	Unit    Unit
	Sensors []Sensor

	UnitFaults  []UnitFault
	BenchFaults []BenchFault

	HandOperated bool // no valves: Drive does nothing, the operator works the pump and the vent
	Operator     Habits
}

// Room is the air around the bench.
type Room struct {
	StartPa      float64 // Pa, barometer at the start
	FrontPa      float64 // Pa, half the swing of the weather, over some two days
	TidePa       float64 // Pa, half the swing of the half-daily tide
	StartC       float64 // °C at the start
	DaySwingK    float64 // K, half the swing of the day
	HeatingK     float64 // K, half the swing of the heating
	HeatingS     float64 // s, period of the heating
	TrendKPerH   float64 // K/h
	HumidityPct  float64 // %
	FrontPhase   float64 // rad
	HeatingPhase float64 // rad
}

// Chamber is the pot with its water and gas.
type Chamber struct {
	Gas            bool    // no water: gas alone
	VolumeM3       float64 // m³ inside, empty
	CushionM3      float64 // m³ of gas at the start, with water
	WallM3PerPa    float64 // m³/Pa, elastic growth
	WallExpansion  float64 // 1/K, of volume
	WallHeatJPerK  float64 // J/K
	StartC         float64 // °C of water, wall and gas at the start
	CushionTauS    float64 // s, of the gas's heat exchange at room pressure; +Inf for none
	CushionToWater float64 // share of that exchange that goes to the water
	WaterToWall    float64 // W/K
	WallToRoom     float64 // W/K
	Blank          float64 // m³/(s Pa), loss of volume at chamber pressure per gauge pressure
	SurfaceM2      float64 // m² of bare water under the gas
	FilmMPerS      float64 // m/s, transfer of air into still water
	ReliefPa       float64 // Pa, opens; 0 for none
	ReliefSonic    float64 // m³/(s Pa), gas, when fully lifted
	ReliefOrifice  float64 // m³/(s √Pa), water, when fully lifted
}

// Supply feeds the chamber through the fill valve.
type Supply struct {
	Water       bool    // pumped water instead of gas
	Regulator   bool    // the rig asks an electro-pneumatic regulator for the pressure behind the fill valve
	Pa          float64 // Pa, behind the fill valve
	C           float64 // °C
	TankM3      float64 // m³ of the compressor's tank, 0 for endless
	TankPa      float64 // Pa in the tank at the start
	RefillMolPS float64 // mol/s of the compressor
	FillSonic   float64 // m³/(s Pa), fill valve with needle, gas
	VentSonic   float64 // m³/(s Pa), vent valve, gas
	FillOrifice float64 // m³/(s √Pa), water
	VentOrifice float64 // m³/(s √Pa), water
	OpenDelay   time.Duration
	CloseDelay  time.Duration
	// Watchdog is how long the valves cannot be reached before a relay takes their
	// power, which shuts the fill and opens the vent; 0: there is no such relay.
	Watchdog     time.Duration
	OwnPulses    bool    // the relays end a pulse of the fill by themselves
	StrokeM3     float64 // m³, hand pump
	StrokeDeadM3 float64 // m³, dead volume of a hand pump for air
}

// Unit is the housing in the chamber. A blank run has none: OuterM3 is 0.
type Unit struct {
	OuterM3        float64 // m³ of water it displaces
	FreeM3         float64 // m³ of air inside
	SealedPa       float64 // Pa inside when it was closed
	StartC         float64 // °C
	StartRHPct     float64 // %
	SqueezeM3PerPa float64 // m³/Pa, elastic, outside and inside alike
	Creep          [3]Creep
	Expansion      float64 // 1/K, of volume
	HeatTauS       float64 // s, to follow the water; in gas the chamber's wall, by radiation and convection
	HeatJPerK      float64 // J/K
	FromGas        float64 // share of the heat of a chamber's gas that goes to the unit instead of the wall
	EvaporateS     float64 // s, for liquid inside to saturate the air
	SorbS          float64 // s, for the air to come to rest with the wall
	SorbRHPct      float64 // %, humidity that a dry-to-the-touch wall keeps
	SorbKg         float64 // kg of water that the wall can give off
	WetAtM3        float64 // m³ of liquid that reaches the wet probe
}

// Creep is one delayed part of the squeeze: a spring and dashpot side by side
// (Kelvin and Voigt; Findley, Lai & Onaran, Creep and Relaxation of Nonlinear
// Viscoelastic Materials, 5.4). Unloading may be slower than loading.
type Creep struct {
	Share   float64 // of the elastic squeeze
	LoadS   float64 // s
	UnloadS float64 // s
}

// Sensor is one device with one or more channels that are read together.
type Sensor struct {
	ID       string
	Every    time.Duration
	Channels []Channel // the first is the main one, which a fault is told of
}

// Channel is one quantity of a device and its flaws, in the quantity's unit.
type Channel struct {
	Quantity    sensors.Quantity
	Noise       float64 // standard deviation of a reading
	Resolution  float64 // step, 0 for none
	Offset      float64
	Gain        float64 // relative error of slope
	DriftPerH   float64
	ThermalPerK float64 // per K of the device's temperature from the start
	LagS        float64 // s
	Low, High   float64 // range; equal for none
}

func (c *Config) check() error {
	for _, v := range []struct {
		name string
		x    float64
	}{
		{"chamber volume", c.Chamber.VolumeM3},
		{"room pressure at the start", c.Room.StartPa},
		{"elastic growth of the chamber", c.Chamber.WallM3PerPa},
		{"heat exchange time of the gas", c.Chamber.CushionTauS},
		{"heat capacity of the chamber wall", c.Chamber.WallHeatJPerK},
	} {
		if !(v.x > 0) {
			return fmt.Errorf("simulated bench: %s is %g, want more than 0", v.name, v.x)
		}
	}
	gas := c.Chamber.VolumeM3 - c.Unit.OuterM3
	if gas <= 0 {
		return fmt.Errorf("simulated bench: the unit displaces %.0f ml, the chamber holds %.0f ml", c.Unit.OuterM3/millilitre, c.Chamber.VolumeM3/millilitre)
	}
	if !c.Chamber.Gas && !(c.Chamber.CushionM3 >= 0 && c.Chamber.CushionM3 < gas) {
		return fmt.Errorf("simulated bench: gas cushion is %.0f ml, want 0 to %.0f ml, what the unit leaves of the chamber", c.Chamber.CushionM3/millilitre, gas/millilitre)
	}
	if c.Unit.OuterM3 > 0 && !(c.Unit.FreeM3 > 0 && c.Unit.FreeM3 < c.Unit.OuterM3) {
		return fmt.Errorf("simulated bench: free volume of the unit is %.0f ml, want more than 0 and less than the %.0f ml that it displaces", c.Unit.FreeM3/millilitre, c.Unit.OuterM3/millilitre)
	}
	if c.Unit.OuterM3 == 0 && len(c.UnitFaults) > 0 {
		return fmt.Errorf("simulated bench: a unit fault needs a unit, and there is none")
	}
	for i := range c.Sensors {
		if s := &c.Sensors[i]; s.Every <= 0 || len(s.Channels) == 0 || s.ID == "" {
			return fmt.Errorf("simulated bench: sensor %d (%q) wants an id, a period above 0 and a channel", i, s.ID)
		}
	}
	for i := range c.UnitFaults {
		f := &c.UnitFaults[i]
		if f.OpenPa > 0 {
			continue
		}
		if c.GaugePa == nil {
			return fmt.Errorf("simulated bench: %s at a depth of %g m needs the water to turn it into a pressure", f.Mode, f.DepthM)
		}
		if p := c.GaugePa(f.DepthM); !(p >= 0) || math.IsInf(p, 0) {
			return fmt.Errorf("simulated bench: no pressure for a depth of %g m", f.DepthM)
		}
	}
	return nil
}

// Sampling sets how often the chamber pressure is read, 500 ms by default.
func (c *Config) Sampling(every time.Duration) {
	for i := range c.Sensors {
		if c.Sensors[i].Channels[0].Quantity == sensors.ChamberPressure {
			c.Sensors[i].Every = every
		}
	}
}
