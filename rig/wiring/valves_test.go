package wiring

import (
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"maps"

	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/rig/valves/relaytest"
	"proofpot/sensors"
	"proofpot/sensors/sensortest"
)

// plumbed is a pot whose pressure goes where the relays let it: relay 1 fills,
// relay 2 without power vents.
type plumbed struct {
	pot   *sensortest.Emulator
	board *relaytest.Board
}

// serialBench is setup's example with its valves on an emulated board and its
// transducer on an emulated pot; without its regulator, whose bus is not here.
func serialBench(t *testing.T, edits ...string) (plumbed, setup.Bench) {
	t.Helper()
	const roomPa = 98000
	pot := emulator(t, sensortest.EmulatorOptions{RoomPa: roomPa, RatePaS: 50000, Every: 5 * time.Millisecond,
		Print: func(m sensortest.Measured) string { return "p_bar=" + formatBar(m.AbsolutePa) }})
	flow := map[string]bool{}
	board, err := relaytest.Start(func(relay string, on bool) {
		flow[relay] = on
		switch {
		case !flow["2"]:
			pot.SetTargetPa(roomPa)
		case flow["1"]:
			pot.SetTargetPa(6e5)
		default:
			pot.SetTargetPa(pot.PressurePa())
		}
	})
	if err != nil {
		t.Skip("no pseudo-terminal here: ", err)
	}
	t.Cleanup(board.Close)
	data, err := os.ReadFile("../setup/testdata/valves-serial.toml")
	if err != nil {
		t.Fatal(err)
	}
	text, sensor, _ := strings.Cut(string(data), "[regulator]")
	sensor = sensor[strings.Index(sensor, "[[sensor]]"):]
	edits = append(edits, "/dev/serial/by-id/usb-relays", board.Path(), "/dev/serial/by-id/usb-pot-sensor", pot.Path())
	b, err := setup.ParseBench("bench.toml", []byte(strings.NewReplacer(edits...).Replace(text+sensor)))
	if err != nil {
		t.Fatal(err)
	}
	return plumbed{pot, board}, b
}

func formatBar(pa float64) string {
	return strconv.FormatFloat(pa/1e5, 'f', 5, 64)
}

func TestEveryValveDriverThatABenchFileMayNameIsThere(t *testing.T) {
	if have := slices.Sorted(maps.Keys(valveDrivers)); !slices.Equal(have, slices.Sorted(slices.Values(setup.ValveDrivers()))) {
		t.Errorf("drivers %q, bench files may name %q", have, setup.ValveDrivers())
	}
}

// until waits for something that takes its time on another goroutine.
func until(t *testing.T, what string, so func() bool) {
	t.Helper()
	for deadline := time.Now().Add(10 * time.Second); !so(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("waited in vain: %s", what)
		}
	}
}

func TestABenchWithValvesFillsHoldsVentsAndIsLeftSafe(t *testing.T) {
	far, b := serialBench(t, "baud = 9600\n", "baud = 9600\nanswer_ms = 5000\n") // a busy machine answers late
	clock := rig.NewRealClock()
	d, err := Open(b, clock)
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	drive := func(v rig.Valves) {
		t.Helper()
		if err := d.Drive(clock.Now(), v); err != nil {
			t.Fatal(err)
		}
	}
	until(t, "the vent stands open", d.(interface{ VentOpen() bool }).VentOpen)
	drive(rig.Valves{})
	until(t, "the vent shuts", func() bool { return far.board.On("2") })
	until(t, "the fill opens", func() bool { drive(rig.Valves{Fill: true}); return far.board.On("1") })
	var last float64
	until(t, "the pressure is seen to rise", func() bool {
		for _, r := range d.Read(clock.Now(), nil) {
			if r.Status == sensors.OK && r.Quantity == sensors.ChamberPressure {
				last = r.Value
			}
		}
		return last > 1.5e5
	})
	drive(rig.Valves{Fill: true, Pulse: 30 * time.Millisecond})
	until(t, "a pulse ends by itself", func() bool { return !far.board.On("1") })
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	if far.board.On("1") || far.board.On("2") {
		t.Error("closed, the fill's or the vent's coil has power")
	}
	if err := d.Drive(clock.Now(), rig.Valves{Fill: true}); err == nil {
		t.Error("a closed bench is driven")
	}
}

func TestARelayBoardThatFallsSilentIsReportedToTheLoop(t *testing.T) {
	far, b := serialBench(t)
	clock := rig.NewRealClock()
	d, err := Open(b, clock)
	if err != nil {
		t.Fatal(err)
	}
	far.board.Mute(true)
	until(t, "the silence is reported", func() bool {
		err = d.Drive(clock.Now(), rig.Valves{Vent: true})
		return err != nil
	})
	if !strings.Contains(err.Error(), "no answer to") || strings.Contains(err.Error(), "\n") {
		t.Errorf("%v", err)
	}
	if err := d.Close(); err == nil {
		t.Error("closing a bench whose relays are silent reports nothing")
	}
}

func TestAValveThatCannotBeOpenedIsNamed(t *testing.T) {
	_, b := serialBench(t)
	missing := t.TempDir() + "/none"
	b.Valves = slices.Clone(b.Valves)
	b.Valves[1].Port = missing
	if _, err := Open(b, rig.NewRealClock()); err == nil || !strings.HasPrefix(err.Error(), `bench "pot-3", valve "vent": serial port "`+missing) {
		t.Errorf("%v", err)
	}
	// What was opened before has been let go.
	b.Valves[1].Port = b.Valves[0].Port
	d, err := Open(b, rig.NewRealClock())
	if err != nil {
		t.Fatal(err)
	}
	d.Close()
}
