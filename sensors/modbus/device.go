package modbus

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"proofpot/sensors"
	"proofpot/sensors/poll"
)

// Device is one device of a line. It is a poll.Device.
type Device struct {
	line    *Line
	address byte
	fields  []Field
	blocks  []block
}

// block is registers that one request reads.
type block struct {
	function     byte
	start, count uint16
	got          []uint16 // reused
}

// NewDevice makes a device whose results are those of fields, in their order.
func NewDevice(line *Line, address byte, fields []Field) (*Device, error) {
	if address < 1 || address > 247 { // guide, 2.2
		return nil, fmt.Errorf("modbus_address: %d is no address of a device; 1 to 247 are", address)
	}
	d := &Device{line: line, address: address, fields: fields}
	for i := range fields {
		f := &fields[i]
		if err := f.Check(); err != nil {
			return nil, err
		}
		d.blocks = append(d.blocks, block{function: f.Function, start: f.Register, count: f.words()})
		for _, from := range []*uint16{f.DecimalsFrom, f.UnitFrom} {
			if from != nil {
				d.blocks = append(d.blocks, block{function: f.Function, start: *from, count: 1})
			}
		}
	}
	d.blocks = merge(d.blocks)
	return d, nil
}

// merge puts blocks together that overlap or follow each other. Registers that
// nobody asked for are not read: devices refuse a request that touches one they
// do not have.
func merge(blocks []block) []block {
	slices.SortFunc(blocks, func(a, b block) int {
		return (int(a.function)-int(b.function))<<20 + int(a.start) - int(b.start)
	})
	merged := blocks[:1]
	for _, b := range blocks[1:] {
		last := &merged[len(merged)-1]
		end := max(int(last.start)+int(last.count), int(b.start)+int(b.count))
		if b.function == last.function && int(b.start) <= int(last.start)+int(last.count) && end-int(last.start) <= maxCount {
			last.count = uint16(end - int(last.start))
			continue
		}
		merged = append(merged, b)
	}
	return merged
}

// Start implements poll.Device: it reads the device once. A device that does not
// answer is lost, whatever the reason.
func (d *Device) Start(ctx context.Context) error {
	if err := d.read(ctx); err != nil {
		return errors.New(err.Error())
	}
	return nil
}

// Measure implements poll.Device.
func (d *Device) Measure(ctx context.Context, results []poll.Result) error {
	if err := d.read(ctx); err != nil {
		return err
	}
	for i := range d.fields {
		results[i] = d.result(&d.fields[i])
	}
	return nil
}

func (d *Device) read(ctx context.Context) (err error) {
	for i := range d.blocks {
		b := &d.blocks[i]
		if b.got, err = d.line.Read(ctx, d.address, b.function, b.start, b.count, b.got[:0]); err != nil {
			return err
		}
	}
	return nil
}

// registers finds registers that were read.
func (d *Device) registers(function byte, start, count uint16) []uint16 {
	for i := range d.blocks {
		b := &d.blocks[i]
		if from := int(start) - int(b.start); b.function == function && from >= 0 && from+int(count) <= len(b.got) {
			return b.got[from : from+int(count)]
		}
	}
	panic(fmt.Sprintf("modbus: registers %d of a field were not read", start)) // NewDevice asks for all of them
}

func (d *Device) result(f *Field) poll.Result {
	if f.UnitFrom != nil {
		if code := d.registers(f.Function, *f.UnitFrom, 1)[0]; code != f.UnitCode {
			return poll.Bad(sensors.Garbled, "the device shows unit %d (register %d), not the %d of %s; set it back, or put its unit into bench.toml",
				code, *f.UnitFrom, f.UnitCode, f.Scale.Unit)
		}
	}
	number, ok := f.value(d.registers(f.Function, f.Register, f.words()))
	if !ok {
		return poll.Bad(sensors.NoReading, "the device says that it has no value for register %d", f.Register)
	}
	decimals := f.Decimals
	if f.DecimalsFrom != nil {
		decimals = int(d.registers(f.Function, *f.DecimalsFrom, 1)[0])
		if decimals > maxDecimals {
			return poll.Bad(sensors.Garbled, "register %d says %d decimals", *f.DecimalsFrom, decimals)
		}
	}
	return poll.Result{Value: number / math.Pow10(decimals)}
}
