package plan

import (
	"fmt"
	"math"

	"proofpot/profiles/water"
)

// Energy is what is stored at the highest pressure, and what it pushes on.
type Energy struct {
	GasML    float64 // ml of gas in the chamber at that pressure
	GasJ     float64 // of the gas: PCC-2
	TNTg     float64 // the same as TNT, by PCC-2
	WaterJ   float64 // of the squeezed water alone
	ElasticJ float64 // of water and stretched walls, by the bench's stiffness
	VoidJ    float64 // P V of the unit's void, were it to collapse
	LidN     float64 // force on the lid; 0 where its size is not known
}

// GasEnergyJ gives the stored energy of compressed air or nitrogen in J: ASME
// PCC-2, article 501, mandatory appendix 501-II, equation II-2,
// 2.5 P V (1 − (Pa/P)^0.286), P and Pa absolute in Pa, V in m³.
func GasEnergyJ(absolutePa, m3, roomPa float64) float64 {
	if absolutePa <= roomPa {
		return 0
	}
	return 2.5 * absolutePa * m3 * (1 - math.Pow(roomPa/absolutePa, 0.286))
}

// IsentropicEnergyJ gives the same for any ideal gas of ratio of specific heats
// k: equation II-1.
func IsentropicEnergyJ(absolutePa, m3, roomPa, k float64) float64 {
	if absolutePa <= roomPa {
		return 0
	}
	return absolutePa * m3 / (k - 1) * (1 - math.Pow(roomPa/absolutePa, (k-1)/k))
}

// JoulesPerTNT is the energy that PCC-2 takes for a kilogram of TNT, J/kg
// (equation II-3). Others take 4.184 to 4.64 MJ/kg.
const JoulesPerTNT = 4266920.0

// WaterEnergyJ gives the elastic energy of water that fills V m³ at a pressure,
// J: the integral of (p − pRoom)(−dV) of its mass, IAPWS SR7-09, isothermal.
func WaterEnergyJ(absolutePa, m3, roomPa, temperatureC float64) float64 {
	if absolutePa <= roomPa {
		return 0
	}
	w := water.FreshIsotherm(temperatureC)
	kg := m3 * w.Density(absolutePa)
	const n = 32 // Simpson's rule; the integrand is all but a straight line
	h := (absolutePa - roomPa) / n
	sum := 0.0
	for i := range n + 1 {
		p := roomPa + float64(i)*h
		f := (p - roomPa) * w.Compressibility(p) * w.SpecificVolume(p) * kg
		switch {
		case i == 0 || i == n:
			sum += f
		case i%2 == 1:
			sum += 4 * f
		default:
			sum += 2 * f
		}
	}
	return sum * h / 3
}

// energy works out what is stored at the plan's highest pressure.
func (p *Plan) energy() Energy {
	b := p.Bench
	gauge := p.PeakPa - b.RoomPa
	if gauge <= 0 {
		return Energy{}
	}
	e := Energy{GasML: b.GasML(p.PeakPa, p.Unit.OuterML)}
	e.GasJ = GasEnergyJ(p.PeakPa, e.GasML*1e-6, b.RoomPa)
	e.TNTg = e.GasJ / JoulesPerTNT * 1000
	if !b.Gas {
		e.WaterJ = WaterEnergyJ(p.PeakPa, max(b.ChamberML-p.Unit.OuterML-e.GasML, 0)*1e-6, b.RoomPa, 20)
	}
	e.ElasticJ = max(0.5*b.StiffnessMLPerBar*1e-11*gauge*gauge, e.WaterJ)
	e.VoidJ = p.Unit.FreeML * 1e-6 * (p.PeakPa - b.RoomPa)
	e.LidN = math.Pi / 4 * b.LidMM * b.LidMM * 1e-6 * gauge
	return e
}

// GasML is the gas in the chamber at a pressure, ml: what is left of a cushion
// that water squeezes (Boyle), and what is kept up by gas otherwise.
func (b Bench) GasML(absolutePa, outerML float64) float64 {
	switch {
	case b.Gas:
		return b.ChamberML - outerML
	case b.WaterFed:
		return b.CushionML * b.RoomPa / absolutePa
	}
	return b.CushionML + b.StiffnessMLPerBar*(absolutePa-b.RoomPa)/1e5
}

// Joules words an energy.
func Joules(j float64) string {
	switch {
	case j >= 99.5e3:
		return fmt.Sprintf("%.0f kJ", j/1e3)
	case j >= 1e3:
		return fmt.Sprintf("%.1f kJ", j/1e3)
	case j >= 10:
		return fmt.Sprintf("%.0f J", j)
	}
	return fmt.Sprintf("%.2g J", j)
}
