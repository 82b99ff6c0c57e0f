package simbench

import (
	"testing"
	"time"

	"proofpot/rig"
)

func TestAStopIsHeardFasterThanTheRest(t *testing.T) {
	react := func(kind rig.PromptKind) time.Duration {
		b := bench(t, config(t, 1))
		b.op.hear(time.Minute, rig.Prompt{Kind: kind, TargetPa: 2e5})
		return b.op.actsAt - time.Minute
	}
	near(t, "reaction to a stop over that to pump up", react(rig.StopPumping).Seconds()/react(rig.PumpUp).Seconds(), 0.5, 1e-6)
}

func TestAPromptRepeatedIsOnePrompt(t *testing.T) {
	b := bench(t, config(t, 1))
	p := rig.Prompt{Kind: rig.PumpUp, TargetPa: 2e5}
	b.op.hear(0, p)
	first := b.op.actsAt
	b.op.hear(500*time.Millisecond, p)
	if b.op.actsAt != first {
		t.Error("a repeated prompt starts the reaction anew")
	}
}
