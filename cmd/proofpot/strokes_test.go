package main

import (
	"strings"
	"testing"

	"proofpot/analysis/characterise"
	"proofpot/rig"
	"proofpot/rig/benchstate"
	"proofpot/rig/record"
	"proofpot/rig/setup"
)

// TestStrokesThatAreTypedShowTheFreeGas: asked for at the first rest beyond a bar,
// compared with the last fill, and said to be missing where nobody typed them.
func TestStrokesThatAreTypedShowTheFreeGas(t *testing.T) {
	const room = 100_000.0
	bench := setup.Bench{RoomPa: room, Sensors: []setup.Sensor{{ID: "p1", Measures: "chamber pressure"}}}
	plan := &rig.Plan{Hand: true, RoomPa: room, Legs: []rig.Leg{{TargetPa: room + 0.5e5}, {TargetPa: room + 3e5}}}
	rest := func(strokes string, last *benchstate.FreeGas) (*running, []string) {
		filling := characterise.NewFilling(setup.Run{Bench: bench})
		r := &running{plan: plan, held: &control{state: benchstate.State{FreeGas: last}}, watch: &progress{plan: plan, filling: filling}}
		r.watch.answers.typing = typing{}
		filling.Line(&record.Line{Measurement: record.Stage, Kind: "ramp", PressurePa: plan.Legs[1].TargetPa, TimeNS: 1})
		for i := range 31 {
			filling.Line(&record.Line{Measurement: record.Chamber, Sensor: "p1", PressurePa: room + float64(i)*1e4, TimeNS: int64(i+1) * 1e9})
		}
		var said []string
		step := func(phase rig.Phase, leg int) {
			r.watch.phase, r.watch.leg = phase, leg
			if text := r.remark(); text != "" {
				said = append(said, text)
			}
		}
		step(rig.Settle, 0) // half a bar says nothing
		step(rig.Ramp, 1)
		step(rig.Settle, 1)
		step(rig.Settle, 1)
		if strokes != "" {
			r.watch.answers.typing.line("strokes " + strokes)
			note := r.remark()
			said = append(said, note)
			filling.Line(&record.Line{Measurement: record.Note, Text: note, TimeNS: 40e9})
		}
		step(rig.Hold, 1)
		step(rig.Hold, 1)
		step(rig.Ramp, 1)
		step(rig.Ramp, 1)
		return r, said
	}
	r, said := rest("12", nil)
	if len(said) != 3 || !strings.Contains(said[0], "note how many full ones") || said[1] != "strokes 12" ||
		said[2] != "free gas by this fill: worth 16.0 ± 1.3 strokes of the pump" || r.gas == nil || r.gas.Strokes != 16 {
		t.Errorf("%q, kept %+v", said, r.gas)
	}
	if _, said := rest("12.5", &benchstate.FreeGas{Strokes: 16}); !strings.HasSuffix(said[len(said)-1], "1.04 of what the last showed") {
		t.Errorf("%q", said)
	}
	if _, said := rest("19", &benchstate.FreeGas{Strokes: 16}); !strings.Contains(said[len(said)-1], "the fill shows more free gas than the last") {
		t.Errorf("%q", said)
	}
	if _, said := rest("19", &benchstate.FreeGas{SPerBar: 16}); !strings.HasSuffix(said[len(said)-1], "strokes of the pump") {
		t.Errorf("compared with a valve's: %q", said)
	}
	if r, said := rest("", nil); len(said) != 2 || said[1] != "free gas: not shown by this fill, no strokes were typed" || r.gas != nil {
		t.Errorf("%q, kept %+v", said, r.gas)
	}
	a := answers{}
	for _, wrong := range []string{"strokes many", "strokes -3", "strokes 0"} {
		if a.typing.line(wrong); a.typing.note() != "" || len(a.typing.says) == 0 || !strings.Contains(a.typing.says[0], "no number of strokes") {
			t.Errorf("%q: %q", wrong, a.typing.says)
		}
		a.typing.says = nil
	}
}
