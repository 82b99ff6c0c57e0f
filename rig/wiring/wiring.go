// Package wiring opens the devices that a bench.toml describes and hands them
// to the rig as one bench. It is the only place that knows which driver a word
// in bench.toml stands for.
package wiring

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/sensors"
	"proofpot/sensors/fileline"
	"proofpot/sensors/health"
	"proofpot/sensors/modbus"
	"proofpot/sensors/scale"
	"proofpot/sensors/serialline"
	"proofpot/sensors/serialport"
	"proofpot/sensors/traffic"
)

// driver reads one device.
type driver interface {
	Read(now time.Duration, to []sensors.Reading) []sensors.Reading
	Close() error
}

// shared is what the drivers of a bench have in common.
type shared struct {
	room  *scale.Room
	clock func() time.Duration // since the start of the run

	modbus  map[string]*modbus.Line // those that are open, by port
	buses   buses
	traffic *traffic.Recorder // nil: nothing is recorded
}

// port opens a serial port, whose traffic is recorded where that is asked for.
func (w shared) port(name string, settings serialport.Settings) (traffic.SerialPort, error) {
	port, err := serialport.Open(name, settings)
	if err != nil {
		return nil, err
	}
	return w.traffic.Port(name, port), nil
}

// drivers says how each driver that bench.toml may name is opened.
var drivers = map[string]func(setup.Sensor, shared) (driver, error){
	setup.DriverADS1115:    openADS1115,
	setup.DriverDS18B20:    openDS18B20,
	setup.DriverFileLine:   openFileLine,
	setup.DriverGPIOLine:   openGPIOLine,
	setup.DriverModbus:     openModbus,
	setup.DriverSerialLine: openSerialLine,
	setup.DriverTyped:      openTyped,

	setup.DriverMS583730BA: openI2CPart,
	setup.DriverMS583702BA: openI2CPart,
	setup.DriverMS580314BA: openI2CPart,
	setup.DriverBME280:     openI2CPart,
	setup.DriverBMP280:     openI2CPart,
	setup.DriverSHT3x:      openI2CPart,
	setup.DriverSHT4x:      openI2CPart,
	setup.DriverMAX31865:   openMAX31865,
}

func openSerialLine(s setup.Sensor, with shared) (driver, error) {
	return openLines(s, with, func() (serialline.Port, error) { return with.port(s.Port, s.SerialPort()) })
}

func openFileLine(s setup.Sensor, with shared) (driver, error) {
	return openLines(s, with, func() (serialline.Port, error) { return fileline.Open(s.Path) })
}

func openLines(s setup.Sensor, with shared, open func() (serialline.Port, error)) (driver, error) {
	port, err := open()
	if err != nil {
		return nil, err
	}
	d, err := serialline.New(port, serialline.Options{
		Line: s.TextLine(), Interval: s.Interval(), Room: with.room, Clock: with.clock, Reopen: open,
	})
	if err != nil {
		return nil, errors.Join(err, port.Close())
	}
	return d, nil
}

// ErrNoValve is the error of a bench that is asked to open a fill valve and has
// none.
var ErrNoValve = errors.New("this bench is operated by hand and has no fill valve to open")

// Open opens every sensor and valve of a bench, or none. The clock must be safe
// for use by several goroutines; readings are stamped with it. Fill stands shut
// and vent open then. The error is one line that names the device and what to do;
// nothing has been pressurised then.
func Open(b setup.Bench, clock rig.Clock) (rig.Devices, error) { return open(b, clock, false) }

// OpenAsItStands is Open for a run that goes on: the vent is left as it is until
// the first Drive.
func OpenAsItStands(b setup.Bench, clock rig.Clock) (rig.Devices, error) { return open(b, clock, true) }

func open(b setup.Bench, clock rig.Clock, keepVent bool) (rig.Devices, error) {
	if err := known(b); err != nil {
		return nil, fmt.Errorf("bench %q: %w", b.ID, err)
	}
	bench, err := openSensors(b, clock, nil)
	if err != nil {
		return nil, fmt.Errorf("bench %q, %w", b.ID, err)
	}
	if bench.signs, err = openSigns(b); err != nil {
		_ = bench.Close()
		return nil, fmt.Errorf("bench %q: %w", b.ID, err)
	}
	if b.HandOperated {
		return bench, nil
	}
	driven, err := openDriven(b, bench, keepVent)
	if err != nil {
		_ = bench.Close()
		return nil, fmt.Errorf("bench %q, %w", b.ID, err)
	}
	return driven, nil
}

// openSensors opens every sensor of a bench, or none.
func openSensors(b setup.Bench, clock rig.Clock, record *traffic.Recorder) (*handBench, error) {
	with := shared{
		room:  scale.NewRoom(b.RoomPa, b.HasBarometer()),
		clock: func() time.Duration { return clock.Now().Mono },

		modbus: map[string]*modbus.Line{}, buses: newBuses(), traffic: record,
	}
	bench := &handBench{watch: health.New(channels(b), clock.Now().Mono), calibrated: calibratedOf(b), with: with}
	for _, s := range b.Sensors {
		d, err := drivers[s.Driver](s, with)
		if err != nil {
			_ = bench.Close() // the error that counts is the one at hand
			return nil, fmt.Errorf("sensor %q: %w", s.ID, err)
		}
		bench.drivers = append(bench.drivers, d)
	}
	return bench, nil
}

// Sensors is the sensors of a bench alone, to look at. Its valves are not opened:
// they stand where they stand.
type Sensors struct{ bench *handBench }

// OpenSensors opens every sensor of a bench, or none. What goes over its serial
// ports and buses is recorded where record is not nil.
func OpenSensors(b setup.Bench, clock rig.Clock, record *traffic.Recorder) (*Sensors, error) {
	err := known(b)
	if err == nil {
		var bench *handBench
		if bench, err = openSensors(b, clock, record); err == nil {
			return &Sensors{bench}, nil
		}
	}
	return nil, fmt.Errorf("bench %q: %w", b.ID, err)
}

// Read is rig.Devices' Read.
func (s *Sensors) Read(now rig.Instant, to []sensors.Reading) []sensors.Reading {
	return s.bench.Read(now, to)
}

// Looks gives what is known of each quantity of each sensor.
func (s *Sensors) Looks() []health.Look { return s.bench.watch.Looks() }

// Close lets go of the sensors.
func (s *Sensors) Close() error { return s.bench.Close() }

// known says what of a bench cannot be opened, before anything is.
func known(b setup.Bench) error {
	if err := b.Check(); err != nil {
		return err
	}
	if !b.HandOperated && len(b.Valves) == 0 {
		return errors.New("nothing is known of its valves; give [[valve]] fill and vent, or hand_operated = true to open and shut them as you are told")
	}
	words := strings.Join(setup.Drivers(), ", ")
	for _, s := range b.Sensors {
		if drivers[s.Driver] == nil {
			return fmt.Errorf("sensor %q: driver %q is not known; give one of: %s", s.ID, s.Driver, words)
		}
	}
	return nil
}

// handBench is a bench whose valves and pump a person works.
type handBench struct {
	watch      *health.Watch
	drivers    []driver
	calibrated map[string]*calibrated
	with       shared // what its valves may share with its sensors
	closed     bool

	signs signs
	hung  func() bool // a valve does not come back: nobody is told that all is well; nil: no valves
	unfed error       // of the last sign that could not be given
}

// Read implements rig.Devices. What it appends is in order of time. Whoever waits
// for something reads, so it is here that a watchdog is fed.
func (b *handBench) Read(now rig.Instant, to []sensors.Reading) []sensors.Reading {
	if b.closed {
		return to
	}
	b.unfed = b.feed(now.Wall)
	base := len(to)
	for _, d := range b.drivers {
		to = d.Read(now.Mono, to)
	}
	correct(b.calibrated, to[base:])
	if len(b.drivers) > 1 {
		slices.SortStableFunc(to[base:], func(a, c sensors.Reading) int { return cmp.Compare(a.At, c.At) })
	}
	return b.watch.Step(now.Mono, to, base)
}

func (b *handBench) feed(now time.Time) error {
	if b.hung != nil && b.hung() {
		return nil
	}
	return b.signs.alive(now)
}

// Unfed implements rig.Watched.
func (b *handBench) Unfed() error { return b.unfed }

// Drive implements rig.Devices. There is nothing to drive: a vent that is wanted
// open is what the loop asks the person for; a fill valve that is wanted open is
// a mistake, and an error.
func (b *handBench) Drive(_ rig.Instant, want rig.Valves) error {
	if want.Fill {
		return ErrNoValve
	}
	return nil
}

// Close implements rig.Devices. It may be called again.
func (b *handBench) Close() error {
	if b.closed {
		return nil
	}
	b.closed = true
	all := []error{b.signs.close()}
	for _, d := range b.drivers {
		all = append(all, d.Close())
	}
	return errors.Join(all...)
}
