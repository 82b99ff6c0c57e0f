package certificate

import "proofpot/analysis"

// remedies says for a mode of failure where to look first and what to try next:
// common practice, no source. The joints come in the order of how often they are
// to blame for that signature; nothing here is a finding.
func (u pen) remedies(mode string) (look, try []string) {
	look, try = remedies(mode)
	return u.each(look), u.each(try)
}

func remedies(mode string) (look, try []string) {
	switch mode {
	case analysis.Seep:
		return []string{
				"the ring and its groove: hair, lint, a nick, a dry spot, a ring rolled or pinched",
				"cable glands and penetrators, and the jacket of the cable behind them",
				"the wall: pores between layers, a pinhole in the coating, screw holes that go through",
				"the edge of a glued window",
			}, []string{
				"open it over dry tissue with the suspected joint down, and mark where the drop is before wiping",
				"clean, grease and close it again, and run the same test to the depth where it began: if it holds, it was the closure",
				"test once more with cable and penetrator ports blanked: if it holds, it was one of them",
				"draw a vacuum on the inside and listen, or brush soap water on the joints",
			}
	case analysis.Burst:
		return []string{
				"window and its glue line: a crack, a lifted edge",
				"a ring pushed out of its groove, a lid that lifted, a bolt that stretched or stripped",
				"a potted or glued penetrator that was pushed in",
				"a crack along the layers of a print",
			}, []string{
				"do not pressurise it again as it is: a part has failed, and the next failure may be an implosion",
				"look at window and walls against the light; photograph the break before cleaning",
				"change the part that broke, and search with the spare unit of the same build where it fails",
			}
	case analysis.Collapse:
		return []string{
				"flat or thin walls and large windows: look for a dent, white stress marks, crazing",
				"a closed hollow in the print or potting that gave way",
				"a soft part inside the chamber: foam, a trapped bubble, a loose label",
			}, []string{
				"measure the wall and window where they bow, and compare with a unit that was never tested",
				"fill the void with blocks, or stiffen the wall, before another test",
				"repeat in a chamber full of water, where a collapse starves at once",
			}
	case analysis.Reseal:
		return []string{
				"a ring with too little squeeze: a shallow groove, a set or cold ring, a lid that is not drawn down",
				"a window that is held by pressure alone",
			}, []string{
				"measure groove and ring, and draw the lid down evenly; a ring must seal at the surface without help",
				"hold at 1 m to 3 m for longer before going down: that is where this unit leaks on a dive",
			}
	case analysis.Damp:
		return []string{
				"what was closed in wet: a print fresh from washing, resin, potting, cardboard, desiccant that is spent",
				"permeable walls and seals, and a leak too small for the pressure to show",
			}, []string{
				"dry the inside and everything in it for a day, close it with fresh desiccant in a dry room, and repeat",
				"a soak at depth against one of the same length at the surface: only ingress follows the pressure",
			}
	}
	return []string{"the evidence names no joint"}, []string{"repeat the test with a sensor inside the unit"}
}
