package wiring

import (
	"errors"
	"fmt"
	"io"
	"time"

	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/rig/valves"
	"proofpot/rig/valves/gpioline"
	"proofpot/rig/valves/mcp4725"
	"proofpot/rig/valves/serialrelay"
	"proofpot/sensors/serialport"
)

// valveDrivers says how each driver that a valve may name is opened. Boards are
// the serial relay boards of this bench that are open already, by port.
var valveDrivers = map[string]func(v setup.Valve, boards map[string]*serialrelay.Board) (valves.Output, error){
	setup.DriverGPIOLine:    openGPIOValve,
	setup.DriverSerialRelay: openSerialValve,
}

func openGPIOValve(v setup.Valve, _ map[string]*serialrelay.Board) (valves.Output, error) {
	return gpioline.Open(v.Chip, v.Line, gpioline.Options{OpenWithPower: v.Rest == setup.RestShut, ActiveLow: v.Active == setup.ActiveLow})
}

func openSerialValve(v setup.Valve, boards map[string]*serialrelay.Board) (valves.Output, error) {
	board := boards[v.Port]
	if board == nil {
		port, err := serialport.Open(v.Port, serialport.Settings{Baud: v.Baud, Timeout: relayRead})
		if err != nil {
			return nil, err
		}
		board = serialrelay.NewBoard(port)
		boards[v.Port] = board
	}
	return board.Relay(serialrelay.Commands{Open: v.OpenText, Shut: v.ShutText, Pulse: v.PulseText, Answer: v.Answer,
		Ask: v.AskText, OpenAnswer: v.OpenAnswer, ShutAnswer: v.ShutAnswer, Wait: v.AnswerTime()}), nil
}

const (
	// relayRead is how long a read of a relay board waits for a byte.
	relayRead = 20 * time.Millisecond
	// patience with a valve that does not come back; a board that is asked may
	// wait for its answer three times first.
	patience = time.Second
	answers  = 3
)

// openBank opens the valves of a bench and what stands beside them, or nothing.
func openBank(b setup.Bench, with shared, keepVent bool) (bank *valves.Bank, err error) {
	var open []io.Closer
	defer func() {
		if err != nil {
			for _, c := range open {
				_ = c.Close() // the error that counts is the one at hand
			}
		}
	}()
	o := valves.Options{RoomPa: b.RoomPa, Patience: patience, KeepVent: keepVent}
	if o.RoomPa == 0 {
		o.RoomPa = standardPa
	}
	boards := map[string]*serialrelay.Board{}
	for _, v := range b.Valves {
		out, err := valveDrivers[v.Driver](v, boards)
		if err != nil {
			return nil, fmt.Errorf("valve %q: %w", v.ID, err)
		}
		open = append(open, out)
		o.Patience = max(o.Patience, answers*v.AnswerTime()+relayRead)
		if v.ID == setup.FillValve {
			o.Fill, o.FillMinOn = out, v.MinOn()
		} else {
			o.Vent, o.VentMinOn = out, v.MinOn()
		}
	}
	if h := b.Heartbeat; h != nil {
		out, err := gpioline.Open(h.Chip, h.Line, gpioline.Options{OpenWithPower: true})
		if err != nil {
			return nil, fmt.Errorf("heartbeat: %w", err)
		}
		open = append(open, out)
		o.Heartbeat = out
	}
	if b.Regulator != nil {
		if o.Regulator, err = openRegulator(*b.Regulator, with); err != nil {
			return nil, fmt.Errorf("regulator: %w", err)
		}
	}
	return valves.New(o), nil
}

// standardPa is what a regulator's gauge pressure stands on where no barometer
// is known: the regulator's own error is larger than the weather.
const standardPa = 101325

func openRegulator(r setup.Regulator, with shared) (valves.Setter, error) {
	bus, err := with.i2cBus(r.Bus)
	if err != nil {
		return nil, err
	}
	d, err := mcp4725.New(bus.guard, mcp4725.Options{Address: uint16(r.Address), FullScaleV: r.FullScaleV,
		LowV: r.LowV, HighV: r.HighV, LowPa: r.LowBarGauge * 1e5, HighPa: r.HighBarGauge * 1e5})
	if err != nil {
		return nil, errors.Join(err, bus.Close())
	}
	return onBus{d, bus}, nil
}

// onBus closes the bus with its device.
type onBus struct {
	*mcp4725.Regulator
	bus io.Closer
}

func (b onBus) Close() error { return errors.Join(b.Regulator.Close(), b.bus.Close()) }

// drivenBench is a bench with valves.
type drivenBench struct {
	*handBench
	bank *valves.Bank
}

// openDriven adds the valves to the sensors of a bench. On an error the sensors
// stay the caller's.
func openDriven(b setup.Bench, read *handBench, keepVent bool) (*drivenBench, error) {
	bank, err := openBank(b, read.with, keepVent)
	if err != nil {
		return nil, err
	}
	read.hung = bank.Hung
	return &drivenBench{handBench: read, bank: bank}, nil
}

// Drive implements rig.Devices: it posts what is wanted and gives what is known
// to be wrong.
func (d *drivenBench) Drive(_ rig.Instant, want rig.Valves) error {
	if d.closed {
		return errors.New("the valves were driven after the bench was closed")
	}
	return d.bank.Drive(want.Fill, want.Vent, want.Pulse, want.RegulatePa)
}

// Silence implements rig.Beating.
func (d *drivenBench) Silence(on bool) error { return d.bank.Silence(on) }

// VentOpen says whether the vent is known to stand open.
func (d *drivenBench) VentOpen() bool { return d.bank.VentOpen() }

// Close implements rig.Devices: fill shut and vent open first, the sensors last.
func (d *drivenBench) Close() error {
	if d.closed {
		return nil
	}
	return errors.Join(d.bank.Close(), d.handBench.Close())
}
