package simbench

import (
	"fmt"
	"strings"
	"time"
)

// Fault is a kind of fault of the bench, its sensors, its supply or its room.
type Fault uint8

// BenchFault is one thing that is wrong with the bench.
type BenchFault struct {
	Kind   Fault
	Sensor string        // faults of a sensor; empty: the first that reads what the fault is about
	Value  float64       // SI; for a kind without an amount 0
	At     time.Duration // since the start of the run
	For    time.Duration // 0: to the end
}

// The kinds of bench faults. benchFaultKinds gives their words.
const (
	Silent Fault = iota
	Stuck
	Spikes
	Garbles
	OutOfRange
	Unplugged
	Restarts
	Drops
	Late
	Drifts
	Jumps
	GainOff
	Noisy
	Coarse
	Sluggish
	ThermalZero
	StemHeat
	Sags
	FalseWet
	NeverWet
	FillStuckShut
	FillStuckOpen
	FillPasses
	FillSlow
	FillBlocked
	VentStuckShut
	VentStuckOpen
	VentPasses
	VentSlow
	VentBlocked
	DriveFails
	PowerCut
	SupplyEmpty
	SupplyWeak
	SupplySurges
	CompressorOff
	BenchLeaks
	LidOpens
	LidSwitch
	StopPressed
	FloatOpens
	RegulatorSticks
	ReliefWeeps
	ReliefLow
	BareSurface
	TrappedGas
	RoomWarms
	HeatingSwings
	DaySwings
	ColdWater
	WarmUnit
	WetPrint
	ReadyCreep
	faultKinds
)

// BenchFaultKind describes a kind for help texts.
type BenchFaultKind struct {
	Kind    Fault
	Example string
	Does    string

	words  string // how it begins
	sensor bool   // may name a sensor
	amount dimension
	value  float64 // SI, where none is given
	fixed  bool    // holds from the start to the end: no times
}

var none dimension

var benchFaultKinds = [faultKinds]BenchFaultKind{
	Silent:          {Silent, "silent p1 at 20 min for 5 min", "a sensor gives no reading", "silent", true, none, 0, false},
	Stuck:           {Stuck, "stuck p1 at 20 min", "a sensor repeats its last value", "stuck", true, none, 0, false},
	Spikes:          {Spikes, "spikes p1, 30 per h", "single readings far off, 0.1 bar to 2 bar or K", "spikes", true, rateUnits, 30, false},
	Garbles:         {Garbles, "garbles p1, 10 %", "a share of the readings cannot be read", "garbles", true, shareUnits, 0.1, false},
	OutOfRange:      {OutOfRange, "out of range p1 at 20 min", "a sensor reports a value that it cannot see", "out of range", true, none, 0, false},
	Unplugged:       {Unplugged, "unplugged p1 at 20 min for 1 min", "the wire is out; the device starts anew when it is back", "unplugged", true, none, 0, false},
	Restarts:        {Restarts, "restarts p1 at 20 min", "the device starts anew, once", "restarts", true, none, 0, false},
	Drops:           {Drops, "drops p1, 5 %", "a share of the readings is missing", "drops", true, shareUnits, 0.05, false},
	Late:            {Late, "late p1, 3 s", "readings come late", "late", true, timeUnits, 3, false},
	Drifts:          {Drifts, "drifts p1, 200 Pa/h", "the zero wanders", "drifts", true, driftUnits, 200, false},
	Jumps:           {Jumps, "jumps p1, 5 mbar at 20 min", "the zero jumps", "jumps", true, pressureUnits, 500, false},
	GainOff:         {GainOff, "gain off p1, 2 %", "the slope is wrong", "gain off", true, shareUnits, 0.02, false},
	Noisy:           {Noisy, "noisy p1, 10 times", "the noise grows", "noisy", true, timesUnits, 10, false},
	Coarse:          {Coarse, "coarse p1, 10 mbar", "the reading comes in large steps", "coarse", true, pressureUnits, 1000, false},
	Sluggish:        {Sluggish, "sluggish p1, 30 s", "a blocked snubber: the reading follows slowly", "sluggish", true, timeUnits, 30, false},
	ThermalZero:     {ThermalZero, "thermal zero p1, 100 Pa/K", "the zero follows the room's temperature", "thermal zero", true, thermalUnits, 100, false},
	StemHeat:        {StemHeat, "stem heat t2, 20 %", "a water thermometer is drawn towards the room's temperature by its stem, or sits in a layer of its own", "stem heat", true, shareUnits, 0.2, false},
	Sags:            {Sags, "sags p1, 5 mbar", "the reading sags while a valve is powered", "sags", true, pressureUnits, 500, false},
	FalseWet:        {FalseWet, "false wet w1 at 20 min", "a wet probe says wet without water", "false wet", true, none, 0, false},
	NeverWet:        {NeverWet, "never wet w1", "a wet probe's wire is open", "never wet", true, none, 0, false},
	FillStuckShut:   {FillStuckShut, "fill valve stuck shut at 20 min", "it does not open", "fill valve stuck shut", false, none, 0, false},
	FillStuckOpen:   {FillStuckOpen, "fill valve stuck open at 20 min for 10 s", "it stays open whatever it is told", "fill valve stuck open", false, none, 0, false},
	FillPasses:      {FillPasses, "fill valve passes, 5 ml/h", "flow at chamber pressure while it is shut", "fill valve passes", false, flowUnits, 5 * mlPerH, false},
	FillSlow:        {FillSlow, "fill valve slow, 2 s", "it opens and shuts late", "fill valve slow", false, timeUnits, 2, false},
	FillBlocked:     {FillBlocked, "fill valve blocked, 80 %", "a share of its flow is lost", "fill valve blocked", false, shareUnits, 0.8, false},
	VentStuckShut:   {VentStuckShut, "vent valve stuck shut", "it does not open", "vent valve stuck shut", false, none, 0, false},
	VentStuckOpen:   {VentStuckOpen, "vent valve stuck open at 20 min", "it does not shut", "vent valve stuck open", false, none, 0, false},
	VentPasses:      {VentPasses, "vent valve passes, 5 ml/h", "flow at chamber pressure while it is shut", "vent valve passes", false, flowUnits, 5 * mlPerH, false},
	VentSlow:        {VentSlow, "vent valve slow, 2 s", "it opens and shuts late", "vent valve slow", false, timeUnits, 2, false},
	VentBlocked:     {VentBlocked, "vent valve blocked, 80 %", "a share of its flow is lost", "vent valve blocked", false, shareUnits, 0.8, false},
	DriveFails:      {DriveFails, "drive fails at 20 min for 10 s", "the valves cannot be reached and stay as they are", "drive fails", false, none, 0, false},
	PowerCut:        {PowerCut, "power cut at 20 min for 1 min", "valves fall to rest, fill shut and vent open; sensors are gone", "power cut", false, none, 0, false},
	SupplyEmpty:     {SupplyEmpty, "supply empty at 20 min", "nothing behind the fill valve", "supply empty", false, none, 0, false},
	SupplyWeak:      {SupplyWeak, "supply weak, 3 bar", "no more than that gauge pressure behind the fill valve", "supply weak", false, pressureUnits, 3 * bar, false},
	SupplySurges:    {SupplySurges, "supply surges, 16 bar at 20 min", "the regulator lets that gauge pressure through", "supply surges", false, pressureUnits, 16 * bar, false},
	CompressorOff:   {CompressorOff, "compressor off", "the tank is not filled again", "compressor off", false, none, 0, false},
	BenchLeaks:      {BenchLeaks, "bench leaks, 5 ml/h", "lid or fittings lose that at 1 bar gauge", "bench leaks", false, flowUnits, 5 * mlPerH, false},
	LidOpens:        {LidOpens, "lid opens at 20 min", "the lid lifts and the pressure is gone", "lid opens", false, none, 0, false},
	LidSwitch:       {LidSwitch, "lid switch opens at 20 min for 1 min", "the lid's switch opens, the lid stays", "lid switch opens", false, none, 0, false},
	StopPressed:     {StopPressed, "stop pressed at 20 min for 1 min", "the emergency stop is pressed", "stop pressed", false, none, 0, false},
	FloatOpens:      {FloatOpens, "float switch opens at 20 min for 1 min", "the water is not where it should be", "float switch opens", false, none, 0, false},
	RegulatorSticks: {RegulatorSticks, "regulator sticks at 20 min for 1 min", "an electro-pneumatic regulator keeps its outlet whatever it is asked", "regulator sticks", false, none, 0, false},
	ReliefWeeps:     {ReliefWeeps, "relief weeps, 20 ml/h", "the relief valve loses that above 90 % of its setting", "relief weeps", false, flowUnits, 20 * mlPerH, false},
	ReliefLow:       {ReliefLow, "relief opens, 3 bar", "the relief valve lifts at that gauge pressure", "relief opens", false, pressureUnits, 3 * bar, false},
	BareSurface:     {BareSurface, "bare water", "no membrane over the water: air dissolves freely", "bare water", false, none, 0, true},
	TrappedGas:      {TrappedGas, "trapped gas, 50 ml", "more gas in the chamber than the sheet says", "trapped gas", false, volumeUnits, 50 * millilitre, true},
	RoomWarms:       {RoomWarms, "room warms, 2 K/h", "the room's temperature climbs", "room warms", false, kelvinPerHour, 2, true},
	HeatingSwings:   {HeatingSwings, "heating swings, 2 K", "half the swing of the heating", "heating swings", false, kelvinUnits, 2, true},
	DaySwings:       {DaySwings, "day swings, 5 K", "half the swing of the day", "day swings", false, kelvinUnits, 5, true},
	ColdWater:       {ColdWater, "cold water, 8 K", "the water starts colder than the room", "cold water", false, kelvinUnits, 8, true},
	WarmUnit:        {WarmUnit, "warm unit, 15 K", "the unit starts warmer than the water", "warm unit", false, kelvinUnits, 15, true},
	WetPrint:        {WetPrint, "wet print, 90 %", "the unit's wall gives off water towards that humidity", "wet print", false, shareUnits, 0.9, true},
	ReadyCreep:      {ReadyCreep, "creeping wall, 5 times", "the unit's wall creeps more", "creeping wall", false, timesUnits, 5, true},
}

// BenchFaultKinds lists what ParseBenchFault understands.
func BenchFaultKinds() []BenchFaultKind { return append([]BenchFaultKind(nil), benchFaultKinds[:]...) }

// String gives the words that a fault of this kind begins with.
func (f Fault) String() string {
	if f >= faultKinds {
		return "unknown fault"
	}
	return benchFaultKinds[f].words
}

// ParseBenchFault reads a fault of the bench: what is wrong, for a sensor its
// id, then, each optional, a comma and how much, "at" a time since the start
// and "for" a time. See BenchFaultKinds. Errors are of type *ParseError.
func ParseBenchFault(text string) (BenchFault, error) {
	s := scan(text)
	kind, taken := faultKinds, 0
	for i := range benchFaultKinds {
		words := strings.Fields(benchFaultKinds[i].words)
		if len(words) <= taken || !s.begins(words) {
			continue
		}
		kind, taken = Fault(i), len(words)
	}
	if taken == 0 {
		names := make([]string, faultKinds)
		for i := range names {
			names[i] = Fault(i).String()
		}
		return BenchFault{}, s.wanted("one of: " + strings.Join(names, ", "))
	}
	s.at += taken
	k := benchFaultKinds[kind]
	f := BenchFault{Kind: kind, Value: k.value}
	if t := s.peek().text; k.sensor && t != "" && t != "," && !strings.EqualFold(t, "at") && !strings.EqualFold(t, "for") {
		f.Sensor = t
		s.at++
	}
	var err error
	rest := ""
	if k.amount.units != nil {
		_, example, _ := strings.Cut(k.Example, ",")
		rest = fmt.Sprintf("%q, ", ","+example)
		if s.word(",") {
			if f.Value, err = s.amount(k.amount, "an amount"); err != nil {
				return BenchFault{}, err
			}
		}
	}
	if !k.fixed {
		rest += `"at 20 min", "for 5 min", `
		if s.word("at") {
			if f.At, err = s.duration("a time since the start"); err != nil {
				return BenchFault{}, err
			}
		}
		if s.word("for") {
			if f.For, err = s.duration("how long"); err != nil {
				return BenchFault{}, err
			}
		}
	}
	if !s.end() {
		return BenchFault{}, s.wanted(rest + "or the end")
	}
	return f, nil
}

func (s *scanner) begins(words []string) bool {
	for i, w := range words {
		if s.at+i >= len(s.tokens) || !strings.EqualFold(s.tokens[s.at+i].text, w) {
			return false
		}
	}
	return true
}

// active says whether the fault holds at a time.
func (f *BenchFault) active(at time.Duration) bool {
	return at >= f.At && (f.For == 0 || at < f.At+f.For)
}
