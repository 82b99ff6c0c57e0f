// Package ads1115 knows the converters ADS1115 (16 bit) and ADS1015 (12 bit) on
// I2C at 48 to 4b hex, and what hangs at their inputs: transducers that give
// 0.5–4.5 V of a supply measured on a channel of its own, 4–20 mA over a shunt,
// thermistors, and wet probes with a resistor at the end of their line.
//
// Data sheet: TI SBAS444 (ADS111x), ranges and code limits checked against the
// reference table of rev. E; registers (9.6: conversion 0, configuration 1; start
// and ready in bit 15, input in 14–12, range in 11–9, single shot in 8, rate in
// 7–5, comparator off in 1–0) from memory. The ADS1015 leaves the low four bits 0.
// Known errors in it: none known to us. The parts have no identity: Start writes a
// configuration and wants it back.
package ads1115

import (
	"context"
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"

	"proofpot/sensors"
	"proofpot/sensors/poll"
)

const (
	regConversion = 0
	regConfig     = 1

	ready      = 1 << 15
	toGround   = 4 << 12 // input against ground; + channel << 12
	singleShot = 1 << 8
	middleRate = 4 << 5 // 128/s; ADS1015: 1600/s
	noCompare  = 3

	convertWait = 9 * time.Millisecond // 1/128 s and a tenth, the error of its clock
	mostLooks   = 5
)

// fullScale is that of each setting of the range (SBAS444E, table 7-1), V.
var fullScale = [6]float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256}

// Range is a setting of the input amplifier.
type Range uint8

// The ranges, from widest to finest.
const (
	V6   Range = iota // ±6.144 V
	V4                // ±4.096 V
	V2                // ±2.048 V
	V1                // ±1.024 V
	V05               // ±0.512 V
	V025              // ±0.256 V
)

// RangeOf finds the range of a full scale in V, 0 for the widest.
func RangeOf(volts float64) (Range, error) {
	if volts == 0 {
		return V6, nil
	}
	for r, v := range fullScale {
		if v == volts {
			return Range(r), nil
		}
	}
	return 0, fmt.Errorf("%g V is no range of an ADS1115; %g, %g, %g, %g, %g and %g are", volts,
		fullScale[0], fullScale[1], fullScale[2], fullScale[3], fullScale[4], fullScale[5])
}

// Volts is what a code stands for.
func (r Range) Volts(code int16) float64 { return float64(code) * fullScale[r] / 32768 }

// Device is a part with what hangs at its inputs. It is a poll.Device.
type Device struct {
	dev    i2c.Dev
	supply Supply
	inputs []Input
}

// New makes a part at an address. Its outputs are the inputs, in their order.
func New(bus i2c.Bus, addr uint16, supply Supply, inputs []Input) (*Device, error) {
	if addr < 0x48 || addr > 0x4b {
		return nil, fmt.Errorf("0x%02x is no address of an ADS1115; 0x48 to 0x4b are", addr)
	}
	if len(inputs) == 0 {
		return nil, fmt.Errorf("nothing hangs at its inputs")
	}
	needs := false
	used := map[int]bool{}
	for i, in := range inputs {
		if err := in.check(); err != nil {
			return nil, fmt.Errorf("input %d: %w", i, err)
		}
		if used[in.Channel] {
			return nil, fmt.Errorf("input %d: channel %d is in use already", i, in.Channel)
		}
		used[in.Channel] = true
		needs = needs || in.Kind != Loop
		if most := in.most(supply); most > fullScale[in.Range] {
			return nil, fmt.Errorf("input %d: its signal reaches %.3g V at a supply of %g V, and the range ends at %g V", i, most, supply.High, fullScale[in.Range])
		}
	}
	if needs {
		if err := supply.check(); err != nil {
			return nil, err
		}
		if used[supply.Channel] {
			return nil, fmt.Errorf("the supply's channel %d has an input too", supply.Channel)
		}
	} else {
		supply.Channel = -1
	}
	return &Device{i2c.Dev{Bus: bus, Addr: addr}, supply, inputs}, nil
}

func config(channel int, r Range) uint16 {
	return uint16(toGround + channel<<12 + int(r)<<9 + singleShot + middleRate + noCompare)
}

func (d *Device) write(config uint16) error {
	return d.dev.Tx([]byte{regConfig, byte(config >> 8), byte(config)}, nil)
}

func (d *Device) read(register byte) (uint16, error) {
	var b [2]byte
	err := d.dev.Tx([]byte{register}, b[:])
	return uint16(b[0])<<8 | uint16(b[1]), err
}

// Start implements poll.Device.
func (d *Device) Start(context.Context) error {
	want := config(d.inputs[0].Channel, d.inputs[0].Range)
	if err := d.write(want); err != nil {
		return err
	}
	got, err := d.read(regConfig)
	if err == nil && got&^ready != want {
		err = poll.Fault(sensors.Garbled, "configuration %04x came back as %04x: no ADS1115, or its wires are bad", want, got&^ready)
	}
	return err
}

// convert measures one channel.
func (d *Device) convert(ctx context.Context, channel int, r Range) (code int16, err error) {
	want := config(channel, r)
	if err := d.write(want | ready); err != nil {
		return 0, err
	}
	for range mostLooks {
		if err := poll.Wait(ctx, convertWait); err != nil {
			return 0, err
		}
		got, err := d.read(regConfig)
		switch {
		case err != nil:
			return 0, err
		case got&^ready != want:
			return 0, poll.Fault(sensors.Garbled, "configuration %04x came back as %04x: it lost its power, or its wires are bad", want, got&^ready)
		case got&ready != 0:
			raw, err := d.read(regConversion)
			return int16(raw), err
		}
	}
	return 0, poll.Fault(sensors.NoReading, "a conversion did not end in %v", mostLooks*convertWait)
}

// Measure implements poll.Device.
func (d *Device) Measure(ctx context.Context, results []poll.Result) error {
	supplyV := 0.0
	if d.supply.Channel >= 0 {
		code, err := d.convert(ctx, d.supply.Channel, V6)
		if err != nil {
			return err
		}
		supplyV = V6.Volts(code) * d.supply.divider()
	}
	for i, in := range d.inputs {
		code, err := d.convert(ctx, in.Channel, in.Range)
		if err != nil {
			return err
		}
		if code >= 0x7ff0 || code == -0x8000 { // the ADS1015's highest is 7ff0
			results[i] = poll.Bad(sensors.Saturated, "channel %d stands at the end of its range of %g V", in.Channel, fullScale[in.Range])
			continue
		}
		results[i] = in.result(in.Range.Volts(code), supplyV, d.supply)
	}
	return nil
}
