//go:build kernel

package gpiochip

import (
	"errors"
	"slices"
	"strings"
	"syscall"
	"testing"

	"proofpot/sensors/sensortest"
)

// These run on a kernel of their own: sensors/kerneltest/run.

func must(t *testing.T, chip string, c Config) *Lines {
	t.Helper()
	l, err := Request(chip, c)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}

func TestKernelOutputsAreReadBackAndStayDriven(t *testing.T) {
	chip := sensortest.NewSimChip(t, "rig-sim", "VALVE_FILL", "VALVE_VENT")
	lines := must(t, "rig-sim", Config{Lines: []string{"VALVE_FILL", "VALVE_VENT"}, Consumer: "test", Output: true, Initial: 2})
	for _, want := range []uint64{2, 1, 0, 3} {
		if want != 2 {
			if err := lines.Set(want, 3); err != nil {
				t.Fatal(err)
			}
		}
		for range 3 { // reading must not let them go
			if got, err := lines.Get(); got != want || err != nil {
				t.Fatalf("driven %b, reads %b, %v", want, got, err)
			}
			if chip.High(0) != (want&1 != 0) || chip.High(1) != (want&2 != 0) {
				t.Fatalf("driven %b, the lines are %v and %v", want, chip.High(0), chip.High(1))
			}
		}
	}
	if err := lines.Set(0, 1); err != nil || chip.High(0) || !chip.High(1) {
		t.Errorf("one of two: %v %v, %v", chip.High(0), chip.High(1), err)
	}
	if err := lines.Close(); err != nil || chip.High(1) { // the simulated chip then goes to its pull
		t.Errorf("given back, the line is still driven; %v", err)
	}
	if _, err := lines.Get(); !errors.Is(err, ErrClosed) {
		t.Errorf("after closing: %v", err)
	}
}

func TestKernelInputsAreHeldByTheirBias(t *testing.T) {
	chip := sensortest.NewSimChip(t, "rig-sim")
	up := must(t, "rig-sim", Config{Lines: []string{"2"}, Bias: PullUp})
	down := must(t, "rig-sim", Config{Lines: []string{"3"}, Bias: PullDown, ActiveLow: true})
	if got, err := up.Get(); got != 1 || err != nil {
		t.Errorf("pulled up: %b %v", got, err)
	}
	if got, err := down.Get(); got != 1 || err != nil {
		t.Errorf("pulled down and active low: %b %v", got, err)
	}
	chip.Pull(2, false)
	if got, _ := up.Get(); got != 0 {
		t.Error("a contact to ground is not seen")
	}
	if err := up.Set(1, 1); err == nil {
		t.Error("an input can be driven")
	}
}

func TestKernelALineInUseNamesItsHolder(t *testing.T) {
	sensortest.NewSimChip(t, "rig-sim", "STOP")
	must(t, "rig-sim", Config{Lines: []string{"STOP"}, Consumer: "another"})
	_, err := Request("rig-sim", Config{Lines: []string{"STOP"}})
	if !errors.Is(err, ErrInUse) || !strings.Contains(err.Error(), `"STOP" of rig-sim`) || !strings.Contains(err.Error(), "(another)") {
		t.Error(err)
	}
}

func TestKernelAVanishedChipIsAnErrorAndNeverLow(t *testing.T) {
	chip := sensortest.NewSimChip(t, "rig-sim", "LID")
	in := must(t, "rig-sim", Config{Lines: []string{"LID"}, Bias: PullUp})
	out := must(t, "rig-sim", Config{Lines: []string{"1"}, Output: true, Initial: 1})
	chip.Vanish()
	if _, err := in.Get(); !errors.Is(err, syscall.ENODEV) {
		t.Errorf("an input of a vanished chip: %v", err)
	}
	if _, err := out.Get(); !errors.Is(err, syscall.ENODEV) {
		t.Errorf("an output of a vanished chip: %v", err)
	}
	if err := out.Set(0, 1); !errors.Is(err, syscall.ENODEV) {
		t.Errorf("driving a vanished chip: %v", err)
	}
	if _, err := Request("rig-sim", Config{Lines: []string{"LID"}}); !errors.Is(err, ErrNotThere) {
		t.Errorf("asking a vanished chip: %v", err)
	}
	chip.Appear()
	if got, err := must(t, "rig-sim", Config{Lines: []string{"LID"}, Bias: PullUp}).Get(); got != 1 || err != nil {
		t.Errorf("back again: %b %v", got, err)
	}
	if _, err := in.Get(); err == nil {
		t.Error("lines of the chip that was pulled out live on")
	}
}

func TestKernelChipsAndLinesAreListed(t *testing.T) {
	sensortest.NewSimChip(t, "rig-sim", "A", "B", "B")
	must(t, "rig-sim", Config{Lines: []string{"A"}, Consumer: "test", Output: true})
	all, err := List()
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(all, func(c Info) bool { return c.Label == "rig-sim" })
	if i < 0 || len(all[i].Lines) != 8 {
		t.Fatalf("%+v", all)
	}
	if a := all[i].Lines[0]; a.Name != "A" || !a.Used || a.Consumer != "test" || !a.Output {
		t.Errorf("%+v", a)
	}
	for line, want := range map[string]error{"B": errAmbiguous, "C": ErrNotThere, "8": ErrNotThere, "-1": ErrNotThere} {
		if _, err := Request(all[i].Path, Config{Lines: []string{line}}); !errors.Is(err, want) {
			t.Errorf("%s: %v", line, err)
		}
	}
}
