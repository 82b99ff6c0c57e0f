package main

import (
	"fmt"
	"strings"

	"proofpot/profiles/plan"
	"proofpot/rig/setup"
)

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
	fmt.Fprintf(&t, "CAUTION. A pressurised chamber stores energy: up to %.0f J in its gas at the relief setting,\n", plan.GasEnergyJ(top, gas/1e6, room))
	if u.FreeVolumeML > 0 {
		fmt.Fprintf(&t, "and a unit that implodes there lets go of %.0f J, water or not.\n", (top-room)*u.FreeVolumeML/1e6)
	}
	if b.HandOperated {
		t.WriteString("- Pump with an eye on the chamber's own gauge. When the clock on the screen stands still, stop: hands off, and let off by the vent.\n")
	}
	if b.Backstop() == setup.ByPerson && len(b.Valves) > 0 {
		t.WriteString("- NO WATCHDOG RELAY: stay at the supply's cock for the whole run. When the clock on the screen stands still, shut it, and open the vent by hand.\n")
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
