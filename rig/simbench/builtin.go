package simbench

import (
	"proofpot/rig/setup"
	"proofpot/sensors"
)

// BuiltInUnit is the club's first hydrophone pod, of our own invented scenario:
// a lake-acoustics club that builds hydrophone pods.
func BuiltInUnit() setup.Unit {
	return setup.Unit{
		ID: "KP-01", Variant: "A, one cord seal", OuterVolumeML: 920, FreeVolumeML: 520, SealedPa: 101_300, SealedC: 18.5,
		Material: "PETG, 6 walls, epoxy coat", Window: "acrylic, 8 mm", Seals: "cord ring 70 × 2.5 NBR 70, greased; one cable gland",
		Notes: "simulated; electronics replaced by dummy mass",
	}
}

// BuiltInBench is the club's water pot: 12 l with some 300 ml of gas above the
// water, fed with compressed air. Rating and relief valve allow the built-in
// profiles down to 75 m (60 m at a proof factor of 1.25).
func BuiltInBench() setup.Bench {
	const roomPa = 101_300
	field := func(from string, q sensors.Quantity, unit, reference string) setup.Field {
		return setup.Field{From: from, Measures: q.String(), Unit: unit, Reference: reference}
	}
	return setup.Bench{
		ID: "simulated-pot", Medium: setup.MediumWater, Supply: setup.SupplyGas,
		ChamberVolumeML: 12_000, LidDiameterMM: 200, GasCushionML: 300, StiffnessMLPerBar: 1.2,
		RatedPa: roomPa + 12e5, ReliefPa: roomPa + 11e5, RoomPa: roomPa,
		BlankLeakMLPerHPerBar: 0.03, BlankLeakSDMLPerHPerBar: 0.012,
		Sensors: []setup.Sensor{
			{ID: "p1", Measures: sensors.ChamberPressure.String(), NoisePa: 40, AccuracyPa: 300, Driver: Driver},
			{ID: "t1", Measures: sensors.ChamberGas.String(), Driver: Driver},
			{ID: "t2", Measures: sensors.ChamberWater.String(), Driver: Driver},
			{ID: "u1", Measures: sensors.UnitPressure.String(), Driver: Driver, Fields: []setup.Field{
				field("pressure", sensors.UnitPressure, "Pa", "absolute"),
				field("temperature", sensors.UnitTemperature, "C", ""),
				field("humidity", sensors.UnitHumidity, "%", ""),
			}},
			{ID: "w1", Measures: sensors.ProbeWet.String(), Driver: Driver},
			{ID: "r1", Measures: sensors.RoomPressure.String(), Driver: Driver, Fields: []setup.Field{
				field("pressure", sensors.RoomPressure, "Pa", "absolute"),
				field("temperature", sensors.RoomTemperature, "C", ""),
			}},
		},
	}
}

// Driver is the name of the driver in the sheet of a simulated bench.
const Driver = "simulated"

// BuiltInHandBench is a smaller pot without valves: the operator works a hand
// pump for water, a needle to let off, and nothing else.
func BuiltInHandBench() setup.Bench {
	b := BuiltInBench()
	b.ID, b.Supply, b.HandOperated = "simulated-hand-pot", setup.SupplyWater, true
	b.ChamberVolumeML, b.GasCushionML, b.StiffnessMLPerBar = 8_000, 150, 0.8
	return b
}
