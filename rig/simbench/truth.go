package simbench

import "time"

// Truth is what really happened, which no sensor tells.
type Truth struct {
	At time.Duration // since the start

	LeakMLPerH float64 // into the unit now, liquid water or its equivalent
	IngressML  float64 // the same, in all

	Failed   bool          // a path has opened or the unit has collapsed
	FailedAt time.Duration // since the start
	OnsetPa  float64       // chamber less sealed pressure at that moment
	Mode     string        // Seep, Burst, Collapse, Reseal or Damp

	PeakPa      float64 // highest chamber pressure, absolute
	ChamberPa   float64 // absolute, now, as the rest
	RoomPa      float64
	GasC        float64
	WaterC      float64
	WallC       float64
	RoomC       float64
	UnitC       float64
	InsidePa    float64
	InsideRHPct float64
	LiquidML    float64 // in the unit
	CushionML   float64 // gas volume
	WaterInML   float64 // that was let in or pumped, in all
	WaterOutML  float64 // that has left the chamber, in all
	FillOpen    bool
	VentOpen    bool

	ComplianceMLPerBar float64 // ml that the contents give for a slow bar
}

// Truth tells what really happened up to the last call of Read or Drive.
func (b *Bench) Truth() Truth {
	t := b.truth
	t.At = b.now
	t.LeakMLPerH = b.u.leakM3 / mlPerH
	t.IngressML = b.u.ingressM3 / millilitre
	t.PeakPa, t.ChamberPa, t.RoomPa = b.peakPa, b.c.pa, b.c.roomPa
	t.GasC, t.WaterC, t.WallC, t.RoomC = b.c.gasK-zeroC, b.c.waterC, b.c.wallC, b.c.roomC
	t.UnitC, t.InsidePa, t.InsideRHPct = b.u.airC(), b.u.insidePa, b.insideRH()
	t.LiquidML = b.u.liquidKg / 1000 / millilitre
	t.CushionML = b.c.gasM3 / millilitre
	t.WaterInML, t.WaterOutML = b.sum.waterIn/millilitre, b.sum.waterOut/millilitre
	t.FillOpen, t.VentOpen = b.fill.open, b.vent.open
	t.ComplianceMLPerBar = (b.c.gasM3/b.c.pa + b.elastic) * bar / millilitre
	return t
}
