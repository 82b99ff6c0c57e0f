package ds18b20

import (
	"context"
	"fmt"
	"time"

	"periph.io/x/conn/v3/onewire"

	"proofpot/sensors"
	"proofpot/sensors/poll"
)

// Commands, data sheet.
const (
	cmdMatch   = 0x55
	cmdConvert = 0x44
	cmdRead    = 0xBE
	cmdWrite   = 0x4E
	cmdPower   = 0xB4
)

const (
	alarmHigh   = highC        // the widest, in 1 °C
	alarmLow    = 0x100 + lowC // two's complement
	twelveBits  = 0x7F         // configuration
	convertWait = 800 * time.Millisecond
)

// Device is a part on a 1-Wire bus. It is a poll.Device of one output, in °C.
type Device struct {
	bus onewire.Bus
	rom [8]byte

	wait func(context.Context, time.Duration) error // poll.Wait; tests do not wait
}

// New makes the part of an address. Nothing is sent yet. What is sent begins with
// a reset: a bus where nobody shows his presence gives an error.
func New(bus onewire.Bus, addr onewire.Address) (*Device, error) {
	d := &Device{bus: bus, wait: poll.Wait}
	for i := range d.rom {
		d.rom[i] = byte(addr >> (8 * i))
	}
	if d.rom[0] != Family || d.rom[7] != CRC(d.rom[:7]) {
		return nil, fmt.Errorf("%016x is no address of a DS18B20: family %02X hex, and a check byte that agrees", uint64(addr), Family)
	}
	return d, nil
}

func (d *Device) tx(r []byte, command ...byte) error {
	return d.bus.Tx(append(append([]byte{cmdMatch}, d.rom[:]...), command...), r, onewire.WeakPullup)
}

// Start implements poll.Device: power, then 12 bits, read back. The alarm
// temperatures are set to their widest; the part's own memory is left alone.
func (d *Device) Start(context.Context) error {
	var power [1]byte
	if err := d.tx(power[:], cmdPower); err != nil {
		return err
	}
	if power[0] != 0xFF {
		return poll.Fault(sensors.SupplyOff, "it takes its power from the data line, or the bus is shorted (%02X hex): connect its third wire to 3.3 V", power[0])
	}
	if err := d.tx(nil, cmdWrite, alarmHigh, alarmLow, twelveBits); err != nil {
		return err
	}
	_, err := d.read()
	if err != nil && poll.StatusOf(err).Kind == sensors.Restarted {
		return nil // it has not measured yet
	}
	return err
}

func (d *Device) read() (poll.Result, error) {
	var pad [9]byte
	if err := d.tx(pad[:], cmdRead); err != nil {
		return poll.Result{}, err
	}
	r, err := celsius(pad)
	if err != nil && poll.StatusOf(err).Kind == sensors.Garbled {
		return r, err
	}
	if pad[2] != alarmHigh || pad[3] != alarmLow || pad[4] != twelveBits {
		return r, poll.Fault(sensors.NoReading, "it has lost its settings: its supply was off, or it did not hear them")
	}
	return r, err
}

// Measure implements poll.Device.
func (d *Device) Measure(ctx context.Context, results []poll.Result) error {
	busy := [1]byte{0xFF} // a bus that brings nothing leaves it so
	if err := d.tx(busy[:], cmdConvert); err != nil {
		return err
	}
	if busy[0] != 0 { // a part that converts pulls each read slot low
		return poll.Fault(sensors.NoReading, "it does not begin to measure (%02X hex): is it at the bus?", busy[0])
	}
	if err := d.wait(ctx, convertWait); err != nil {
		return err
	}
	r, err := d.read()
	results[0] = r
	return err
}
