package main

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"

	"proofpot/profiles"
)

func TestARecordThatIsNotOnTheDiskInTimeIsSaid(t *testing.T) {
	profile, err := profiles.Load("quick-check-30m-sea")
	if err != nil {
		t.Fatal(err)
	}
	run := setup.Run{Format: setup.RunFormat, Profile: profile, Bench: simbench.BuiltInBench(), Unit: simbench.BuiltInUnit()}
	plan, err := rig.NewPlan(run)
	if err != nil {
		t.Fatal(err)
	}
	var errs bytes.Buffer
	p, err := newProgress(&world{errs: &errs}, plan, run, true)
	if err != nil {
		t.Fatal(err)
	}
	for waits, want := range map[time.Duration]string{0: "", 700 * time.Millisecond: "", 1400 * time.Millisecond: "record unsynced for 1400 ms"} {
		p.disk(func() time.Duration { return waits })
		got := p.status(time.Minute, &rig.State{Phase: rig.Hold})
		if strings.Contains(got, "unsynced") != (want != "") || !strings.Contains(got, want) {
			t.Errorf("after %s: %q", waits, got)
		}
	}
}
