// Package sht4x knows the humidity and temperature sensors SHT40, SHT41, SHT43
// and SHT45 on I2C at address 44, 45 or 46 hex.
//
// Data sheet: Sensirion SHT4x; not at hand. From memory, and as public drivers
// have it: commands (4.5), 8.3 ms for a measurement of high precision, 1 ms for a
// reset, RH = −6 + 125 S / 65535 (4.6), which may leave 0 to 100 % and is not cut
// here. Known errors in it: none known to us.
//
// The part has no status. Its heater runs only within a command that this driver
// never sends, one second at most, and a reset ends it: so it is off after Start.
// Who it is, its serial number says, whose words have check bytes.
package sht4x

import (
	"context"
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"

	"proofpot/sensors"
	"proofpot/sensors/poll"
	"proofpot/sensors/sht"
)

const (
	cmdReset   = 0x94
	cmdSerial  = 0x89
	cmdMeasure = 0xFD // high precision

	resetWait   = 3 * time.Millisecond
	serialWait  = 1 * time.Millisecond
	measureWait = 10 * time.Millisecond
)

// Device is a part on a bus. It is a poll.Device.
type Device struct{ dev i2c.Dev }

// New makes a part at an address. Nothing is sent yet.
func New(bus i2c.Bus, addr uint16) (*Device, error) {
	if addr < 0x44 || addr > 0x46 {
		return nil, fmt.Errorf("0x%02x is no address of a SHT4x; 0x44, 0x45 and 0x46 are", addr)
	}
	return &Device{i2c.Dev{Bus: bus, Addr: addr}}, nil
}

// ask sends a command, waits and reads two words.
func (d *Device) ask(ctx context.Context, command byte, wait time.Duration) (b [6]byte, err error) {
	if err := d.dev.Tx([]byte{command}, nil); err != nil {
		return b, err
	}
	if err := poll.Wait(ctx, wait); err != nil {
		return b, err
	}
	err = d.dev.Tx(nil, b[:])
	return b, err
}

// Start implements poll.Device: reset, which ends a heater too, and identity.
func (d *Device) Start(ctx context.Context) error {
	if err := d.dev.Tx([]byte{cmdReset}, nil); err != nil {
		return err
	}
	if err := poll.Wait(ctx, resetWait); err != nil {
		return err
	}
	b, err := d.ask(ctx, cmdSerial, serialWait)
	if err != nil {
		return err
	}
	high, err := sht.Word([3]byte{b[0], b[1], b[2]}, "serial number")
	if err != nil {
		return err
	}
	low, err := sht.Word([3]byte{b[3], b[4], b[5]}, "serial number")
	if err != nil {
		return err
	}
	if high == 0 && low == 0 {
		return poll.Fault(sensors.Garbled, "its serial number is 0: no SHT4x")
	}
	return nil
}

// Measure implements poll.Device.
func (d *Device) Measure(ctx context.Context, results []poll.Result) error {
	b, err := d.ask(ctx, cmdMeasure, measureWait)
	if err != nil {
		return err
	}
	return sht.Results(b, -6, 125, results)
}
