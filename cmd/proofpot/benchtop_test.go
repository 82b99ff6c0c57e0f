package main

import (
	"flag"
	"fmt"
	"os"
	"os/signal"
	"strings"
	"sync"
	"syscall"
	"time"

	"proofpot/rig/valves/relaytest"
	"proofpot/sensors/sensortest"
)

// benchtop is a program of the scripts: a pot with a transducer and two relays
// at the far ends of two serial ports, which goes on until it is ended. Relay 1
// fills, relay 2 without power vents. What goes wrong is given by flags.
func benchtop() {
	pot := flag.String("pot", "pot", "link to the transducer's port")
	relays := flag.String("relays", "relays", "link to the relay board's port")
	burst := flag.Duration("over", 0, "after so long with the fill open the pressure runs away")
	deaf := flag.Bool("deaf", false, "the vent does not move")
	letgo := flag.String("letgo", "", "when this file appears the relay board restarts: all relays let go")
	pa := flag.Float64("pa", 98000, "where the pressure starts, absolute")
	flag.Parse()
	const roomPa = 98000
	far, err := sensortest.StartEmulator(sensortest.EmulatorOptions{Link: *pot, RoomPa: roomPa, RatePaS: 60000, NoisePa: 20,
		Every: 20 * time.Millisecond, WaterC: 12, Seed: 1,
		Print: func(m sensortest.Measured) string {
			return fmt.Sprintf("p_bar=%.6f t_c=%.2f", m.AbsolutePa/1e5, m.WaterC)
		}})
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	if *pa != roomPa {
		far.SetTargetPa(*pa)
	}
	var mu sync.Mutex
	on, away := map[string]bool{}, false
	flow := func() {
		switch {
		case !on["2"] && !*deaf:
			far.SetTargetPa(roomPa)
		case away:
			far.SetTargetPa(12e5)
		case on["1"]:
			far.SetTargetPa(7e5)
		default:
			far.SetTargetPa(far.PressurePa())
		}
	}
	board, err := relaytest.Start(func(relay string, is bool) {
		mu.Lock()
		defer mu.Unlock()
		if on[relay] = is; relay == "1" && is && *burst > 0 {
			time.AfterFunc(*burst, func() {
				mu.Lock()
				defer mu.Unlock()
				away = on["2"]
				flow()
			})
		}
		if relay == "2" && !is {
			away = false
		}
		flow()
	})
	if err == nil {
		err = os.Symlink(board.Path(), *relays)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	// A lid switch on a device of its own; the file lid.state says open or shut.
	lid, err := sensortest.StartEmulator(sensortest.EmulatorOptions{Link: "lid", Every: 20 * time.Millisecond,
		Print: func(sensortest.Measured) string {
			if text, _ := os.ReadFile("lid.state"); strings.TrimSpace(string(text)) == "open" {
				return "lid=1"
			}
			return "lid=0"
		}})
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	defer lid.Close()
	go func() {
		for *letgo != "" {
			if _, err := os.Stat(*letgo); err == nil {
				board.Restart()
				return
			}
			time.Sleep(50 * time.Millisecond)
		}
	}()
	end := make(chan os.Signal, 1)
	signal.Notify(end, os.Interrupt, syscall.SIGTERM)
	<-end
	far.Close()
	board.Close()
	os.Remove(*relays)
}
