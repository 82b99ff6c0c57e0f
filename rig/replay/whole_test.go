package replay

import (
	"slices"
	"testing"
	"time"
)

// TestTheEndOfAPulseWhoseStepWasCutOffIsNoCommandOfAReplay: it is in the record with
// the moment at which the driver shut the valve, and its step is not.
func TestTheEndOfAPulseWhoseStepWasCutOffIsNoCommandOfAReplay(t *testing.T) {
	tape := &tape{gaps: []gap{{begins: 100_800 * time.Millisecond, ends: 200 * time.Second}}}
	at := func(s float64, what string) Command {
		return Command{time.Duration(s * float64(time.Second)), what}
	}
	kept := []Command{at(100.3, "valve vent shut"), at(100.7, "valve vent open"), at(100.9, "valve fill shut"), at(205, "valve vent shut")}
	recorded := append([]Command{at(100.6, "valve vent shut"), at(100.8, "valve fill shut")}, kept...)
	if got := tape.whole(recorded, []time.Duration{100_500 * time.Millisecond}); !slices.Equal(got, kept) {
		t.Errorf("%v are left", got)
	}
}
