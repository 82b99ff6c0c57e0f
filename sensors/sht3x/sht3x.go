// Package sht3x knows the humidity and temperature sensors SHT30, SHT31 and
// SHT35 on I2C at address 44 or 45 hex.
//
// Data sheet: Sensirion SHT3x-DIS, version 5, May 2018: single shot 4.3, soft
// reset 4.9, heater 4.10, status 4.11 (table 18), CRC 4.12, conversion 4.13;
// longest measurement 15 ms, reset 1.5 ms (table 4, from memory). Known errors
// in it: none known to us.
//
// Each measurement looks at the status: a part that lost its power says so, and
// one whose heater somebody turned on shows a drier, warmer air, which would hide
// a leak; it is turned off, and that measurement is a fault.
//
// Humidity above some 80 % for hours makes it read some 3 % too high for a day
// (creep; common practice, no source).
package sht3x

import (
	"context"
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"

	"proofpot/sensors"
	"proofpot/sensors/poll"
	"proofpot/sensors/sht"
)

var (
	cmdMeasure     = []byte{0x24, 0x00} // high repeatability, clock not stretched
	cmdReset       = []byte{0x30, 0xA2}
	cmdHeaterOff   = []byte{0x30, 0x66}
	cmdStatus      = []byte{0xF3, 0x2D}
	cmdClearStatus = []byte{0x30, 0x41}
)

// Bits of the status, table 18.
const (
	statusHeater   = 1 << 13
	statusReset    = 1 << 4
	statusCommand  = 1 << 1 // the last command was not done
	statusCheck    = 1 << 0 // the last thing written came with a wrong check byte
	statusReserved = 1<<14 | 1<<12 | 0x03E0 | 0x000C
)

const (
	resetWait   = 3 * time.Millisecond
	measureWait = 18 * time.Millisecond
)

// Device is a part on a bus. It is a poll.Device.
type Device struct{ dev i2c.Dev }

// New makes a part at an address. Nothing is sent yet.
func New(bus i2c.Bus, addr uint16) (*Device, error) {
	if addr != 0x44 && addr != 0x45 {
		return nil, fmt.Errorf("0x%02x is no address of a SHT3x; 0x44 and 0x45 are", addr)
	}
	return &Device{i2c.Dev{Bus: bus, Addr: addr}}, nil
}

// Start implements poll.Device: reset, heater off, and a status that only this
// kind of part has.
func (d *Device) Start(ctx context.Context) error {
	if err := d.dev.Tx(cmdReset, nil); err != nil {
		return err
	}
	if err := poll.Wait(ctx, resetWait); err != nil {
		return err
	}
	for _, command := range [][]byte{cmdHeaterOff, cmdClearStatus} {
		if err := d.dev.Tx(command, nil); err != nil {
			return err
		}
	}
	status, err := d.status()
	switch {
	case err != nil:
		return err
	case status&(statusReserved|statusHeater|statusReset) != 0:
		return poll.Fault(sensors.Garbled, "its status is %04X hex after it was reset and cleared: no SHT3x, or a broken one", status)
	}
	return nil
}

func (d *Device) status() (uint16, error) {
	var b [3]byte
	if err := d.dev.Tx(cmdStatus, nil); err != nil {
		return 0, err
	}
	if err := d.dev.Tx(nil, b[:]); err != nil {
		return 0, err
	}
	return sht.Word(b, "status")
}

// Measure implements poll.Device.
func (d *Device) Measure(ctx context.Context, results []poll.Result) error {
	if err := d.dev.Tx(cmdMeasure, nil); err != nil {
		return err
	}
	if err := poll.Wait(ctx, measureWait); err != nil {
		return err
	}
	var b [6]byte
	if err := d.dev.Tx(nil, b[:]); err != nil {
		return err
	}
	status, err := d.status()
	switch {
	case err != nil:
		return err
	case status&statusReset != 0:
		return poll.Fault(sensors.Restarted, "it lost its power or was reset")
	case status&statusHeater != 0:
		if err := d.dev.Tx(cmdHeaterOff, nil); err != nil {
			return err
		}
		return poll.Fault(sensors.Garbled, "its heater was on, and is turned off")
	case status&(statusCommand|statusCheck|statusReserved) != 0:
		return poll.Fault(sensors.Garbled, "its status is %04X hex: it did not do what it was told", status)
	}
	return sht.Results(b, 0, 100, results)
}
