package main

import (
	"fmt"
	"math"
	"strings"

	"proofpot/rig/setup"
)

// gasEnergyJ is the energy that gas gives off when it expands to the room's
// pressure, absolute pressures in Pa and volume in m³: ASME PCC-2, article 501,
// with 1.4 for the ratio of heats of air.
func gasEnergyJ(pa, roomPa, volumeM3 float64) float64 {
	const k = 1.4
	if pa <= roomPa {
		return 0
	}
	return pa * volumeM3 / (k - 1) * (1 - math.Pow(roomPa/pa, (k-1)/k))
}

// cautions is what a person must have read before a chamber is pressurised.
func cautions(run setup.Run) string {
	b, u := run.Bench, run.Unit
	room := b.RoomPa
	if room == 0 {
		room = 101325
	}
	top := b.ReliefPa
	gas := b.GasCushionML * room / top // squeezed by the water that is pumped in
	if b.Medium == setup.MediumGas {
		gas = b.ChamberVolumeML - u.OuterVolumeML
	} else if b.Supply == setup.SupplyGas {
		gas = b.GasCushionML
	}
	var t strings.Builder
	fmt.Fprintf(&t, "CAUTION. A pressurised chamber stores energy: up to %.0f J in its gas at the relief setting,\n", gasEnergyJ(top, room, gas/1e6))
	if u.FreeVolumeML > 0 {
		fmt.Fprintf(&t, "and a unit that implodes there lets go of %.0f J, water or not.\n", (top-room)*u.FreeVolumeML/1e6)
	}
	t.WriteString(`- The chamber is stamped with its rating, in date, and has a relief valve below it that was tried, with nothing between.
- The lid is locked. Nobody leans over it. People stay behind a barrier while the pressure rises and in the first minutes of a hold.
- The supply cannot give more than the chamber's rating. The fill valve shuts and the vent opens without power.
- No cells or batteries in the unit: use dummies and fill the void. A flooded cell may burst hours later.
- The lid stays shut until the run has ended, the vent stands open and the gauge shows nothing.
proofpot is no safety system: the relief valve and the barrier are. Local law and codes for pressure tests apply;
where they ask for a competent person, he decides.
`)
	return t.String()
}
