package rig_test

import (
	"math"
	"testing"

	"proofpot/rig"
)

func TestWhoeverGoesToThePressureThatIsSaidIsThere(t *testing.T) {
	const room = 98000
	for _, c := range []struct {
		kind         rig.PromptKind
		target, want float64
	}{
		{rig.PumpUp, 128232.4, 129000},   // 0.302 bar: 0.30 would be short of it
		{rig.SlowDown, 128232.4, 129000}, //
		{rig.PumpUp, 198000, 198000},     // on the scale
		{rig.LetOff, 128232.4, 128000},   // and down to it
	} {
		if got := (rig.Prompt{Kind: c.kind, TargetPa: c.target}).ShownPa(room); math.Abs(got-c.want) > 1e-6 {
			t.Errorf("%s to %.1f: %.1f is said, want %.1f", c.kind, c.target, got, c.want)
		}
	}
}
