package analysis

import (
	"proofpot/profiles/assumed"
	"proofpot/rig/setup"
)

// vessel is the chamber as the sheet has it: volumes in ml, stiffness in ml/Pa.
type vessel struct {
	gas        bool // gas-filled
	waterFed   bool // water is pumped in, the gas is squeezed
	chamberML  float64
	unitML     float64
	gasML      float64 // at room pressure
	waterML    float64
	stiff      float64 // ml/Pa
	roomPa     float64
	blank      float64 // ml/h per Pa gauge
	blankSD    float64
	blankGiven bool
}

func newVessel(run setup.Run, roomPa float64) vessel {
	b, u := run.Bench, run.Unit
	v := vessel{
		gas: b.Medium == setup.MediumGas, waterFed: b.Supply == setup.SupplyWater,
		chamberML: b.ChamberVolumeML, unitML: max(u.OuterVolumeML, u.FreeVolumeML),
		gasML: b.GasCushionML, stiff: b.StiffnessMLPerBar / 1e5, roomPa: roomPa,
		blank: b.BlankLeakMLPerHPerBar / 1e5, blankSD: b.BlankLeakSDMLPerHPerBar / 1e5,
	}
	v.blankGiven = v.blankSD > 0
	if !v.blankGiven {
		v.blankSD = assumed.UnknownBlankSD / 1e5
	}
	if v.gas {
		v.gasML = max(v.chamberML-v.unitML, 1)
	} else {
		v.gasML = max(v.gasML, 0.1)
		v.waterML = max(v.chamberML-v.unitML-v.gasML, 0)
	}
	return v
}

// volume is the gas volume at a chamber pressure after an ingress, ml.
func (v vessel) volume(pa, ingress float64) float64 {
	if v.waterFed {
		return v.gasML * v.roomPa / pa
	}
	return max(v.gasML+v.stiff*(pa-v.roomPa)+ingress, 0.1)
}

// compliance is the volume that leaves for each Pa that is lost, ml/Pa.
func (v vessel) compliance(pa, ingress float64) float64 {
	return v.volume(pa, ingress)/pa + v.stiff
}

// estimate is a figure with its standard uncertainty and where that comes from.
type estimate struct {
	value, u        float64
	lod             float64 // detection limit
	budget          []Budget
	tied            bool    // settle and hold together
	settle, settleU float64 // leak in the settle
	rel             float64 // standard uncertainty that goes with the leak, as a share of it
	n               int     // blocks
	chi2            float64
	rms             float64 // ml, of the residuals
	drift           wander
	cooled          []float64 // K, warmth of the gas at the start of each part
	white           float64   // u from white noise alone, as a naive line fit would claim
	tau             float64
	blank           float64 // ml/h per Pa gauge, the bench's own leak as the data have it
	bent            float64 // of the gas volume, what its straight line leaves out
}

// coverage95 is the factor of a two-sided 95 % interval: Student's for some 20
// effective degrees of freedom (JCGM 100:2008, table G.2), since noise and drift
// are themselves estimated from one record.
const coverage95 = 2.09

// scale turns an estimate into another unit.
func (e *estimate) scale(f float64) {
	e.value *= f
	e.u *= f
	e.lod *= f
	e.rms *= f
	e.settle *= f
	e.settleU *= f
	e.white *= f
	for i := range e.budget {
		e.budget[i].MLPerH *= f
	}
}

func (e *estimate) interval() Interval {
	return Interval{Estimate: e.value, Low: e.value - coverage95*e.u, High: e.value + coverage95*e.u}
}

// currie is the detection limit where both errors are 5 %: 3.29 u (Currie, Anal.
// Chem. 40 (1968) 586, for a well-known blank and a constant u). u is that of an
// estimate where nothing leaks, with the doubt of the bench's own leak in it: what
// goes with the size of a leak does not count, and nothing is left for a paired
// blank to add.
func currie(u float64) float64 { return 2 * 1.644854 * u }
