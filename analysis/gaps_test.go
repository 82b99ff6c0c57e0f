package analysis

import (
	"math"
	"testing"
)

// cutTable is a hold of 600 s that is cut off at 300 s and looked at again at 500 s.
func cutTable(text string, again bool) *table {
	x := &table{spans: []span{{kind: "ramp", start: 0, end: 50, depthM: 30}, {kind: "hold", start: 50, end: math.NaN(), depthM: 30}}}
	x.resume("resumed behind line 700", 300, 495)
	x.resume(text, 496, 500)
	if again {
		x.spans = append(x.spans, span{kind: "ramp", start: 500, end: 550, depthM: 30}, span{kind: "hold", start: 550, end: 1150, depthM: 30})
	} else if math.IsNaN(x.spans[1].end) {
		x.spans[1].end = 850
	}
	return x
}

func TestAHoldWhosePressureWasLostEndsWhereTheGapBegins(t *testing.T) {
	for _, text := range []string{"gap lost: 4 bar before, none after", "gap unknown: nobody can tell", "cut off again"} {
		x := cutTable(text, true)
		list := findStages(x, 0.5)
		if text == "cut off again" {
			if !list[0].lost && x.cuts[0].judged {
				t.Errorf("%+v", x.cuts)
			}
			continue
		}
		if len(list) != 2 || !list[0].lost || list[1].lost || list[0].hold.end != 300 {
			t.Errorf("%s: %d stages, %+v", text, len(list), list[0])
		}
		if len(x.vent) != 1 || x.vent[0] != (interval{300, 500}) {
			t.Errorf("%s: the vent was open %v", text, x.vent)
		}
	}
}

func TestAHoldWhosePressureWasHeldGoesOnAndItsGapIsCarriedByTheRest(t *testing.T) {
	x := cutTable("gap held: as expected", false)
	list := findStages(x, 0.5)
	if len(list) != 1 || list[0].lost || list[0].hold != (interval{50, 850}) {
		t.Fatalf("%+v", list[0])
	}
	a := &analysis{x: x, gaps: []gap{{300, 495}}, s: &signal{dt: 0.5}}
	w := list[0].hold
	if m := a.missing(w, 600); m != 0 {
		t.Errorf("a gap that the rest carries costs %v", m)
	}
	if m := a.missing(interval{50, 650}, 600); math.Abs(m-195./600) > 1e-9 {
		t.Errorf("a hold that did not go on for longer misses %v", m)
	}
	a.gaps = append(a.gaps, gap{600, 700})
	if m := a.missing(w, 600); math.Abs(m-100./800) > 1e-9 {
		t.Errorf("another gap costs %v", m)
	}
	x.cuts[0].held = false
	if m := a.missing(w, 600); math.Abs(m-295./800) > 1e-9 {
		t.Errorf("a gap that was not held costs %v", m)
	}
}
