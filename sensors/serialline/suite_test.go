package serialline

import (
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"proofpot/sensors"
	"proofpot/sensors/scale"
	"proofpot/sensors/sensortest"
	"proofpot/sensors/serialline/textline"
	"proofpot/sensors/serialport"
)

// device is a device of every shape with the same three quantities.
type device struct {
	name             string
	config           textline.Config
	good, outOfRange string
}

func devices() []device {
	field := func(from, unit, reference string, q sensors.Quantity) textline.Field {
		return textline.Field{From: from, Quantity: q, Unit: unit, Reference: reference}
	}
	const chamber, water, room = sensors.ChamberPressure, sensors.ChamberWater, sensors.RoomPressure
	return []device{
		{"key-value", textline.Config{Shape: textline.KeyValue, Fields: []textline.Field{
			field("p", "bar", scale.Gauge, chamber), field("t", "C", "", water), field("b", "hPa", scale.Absolute, room)}},
			"p=3.000 t=18.4 b=1001", "p=-2.000 t=-127 b=0"},
		{"csv with decimal commas", textline.Config{Shape: textline.CSV, DecimalComma: true, Fields: []textline.Field{
			field("2", "kPa", scale.Absolute, chamber), field("3", "K", "", water), field("1", "Pa", scale.Absolute, room)}},
			"100100,0;400,1;291,55", "0,0;-1,0;0,0"},
		{"json", textline.Config{Shape: textline.JSON, Fields: []textline.Field{
			field("pot.p", "MPa", scale.SealedGauge, chamber), field("t.0", "F", "", water), field("room", "mbar", scale.Absolute, room)}},
			`{"pot":{"p":0.298775},"t":[65.12],"room":1001}`, `{"pot":{"p":1e6},"t":[1e9],"room":-1}`},
		{"pattern", textline.Config{Shape: textline.Pattern, Pattern: `P (?P<p>\S+) T (?P<t>\S+) B (?P<b>\S+)`, Fields: []textline.Field{
			field("p", "bar", scale.Gauge, chamber), field("t", "C", "", water), field("b", "hPa", scale.Absolute, room)}},
			"P 3.000 T 18.4 B 1001", "P -2.000 T -127 B 0"},
		{"nmea-xdr", textline.Config{Shape: textline.NMEA, Fields: []textline.Field{
			field("P:POT", "bar", scale.Gauge, chamber), field("C:W", "C", "", water), field("P:BARO", "Pa", scale.Absolute, room)}},
			"$YXXDR,P,3.000,B,POT,C,18.4,C,W,P,100100,P,BARO*61", "$YXXDR,P,-2.000,B,POT,C,-127,C,W,P,0,P,BARO*77"},
		{"line protocol", textline.Config{Shape: textline.Protocol, Fields: []textline.Field{
			field("pot.p", "bar", scale.Gauge, chamber), field("pot.t", "C", "", water), field("pot.b", "hPa", scale.Absolute, room)}},
			"pot,sensor=x p=3.000,t=18.4,b=1001i 1767225600000000000", "pot p=-2.000,t=-127,b=0"},
	}
}

var wanted = map[sensors.Quantity]float64{
	sensors.ChamberPressure: 400100, sensors.ChamberWater: 18.4, sensors.RoomPressure: 100100,
}

const interval = time.Second

func (d *device) options(clock *sensortest.Clock, reopen func() (Port, error)) Options {
	config := d.config
	config.Sensor, config.Main = "p1", sensors.ChamberPressure
	return Options{Line: config, Interval: interval, Room: scale.NewRoom(0, true),
		Clock: clock.Now, Reopen: reopen, Every: 5 * time.Millisecond}
}

func TestEveryShapeOfLineDoesWhatADriverMust(t *testing.T) {
	for _, d := range devices() {
		t.Run(d.name, func(t *testing.T) {
			sensortest.Suite(t, func(t *testing.T, clock *sensortest.Clock) sensortest.Subject {
				var cable fakeCable
				port := cable.plug()
				port.empty = d.name == "json"
				driver, err := New(port, d.options(clock, cable.open))
				if err != nil {
					t.Fatal(err)
				}
				port.send("tail\n")
				return sensortest.Subject{
					Driver: driver, Sensor: "p1", Want: wanted, Silence: SilentIntervals * interval,
					Good:       func() { port.send(d.good + "\r\n") },
					Garbled:    func() { port.send("\xff\xfe" + d.good + "\n") },
					OutOfRange: func() { port.send(d.outOfRange + "\n") },
					Gone:       func() { cable.unplug(syscall.EIO) },
					Back:       func() { port = cable.plug(); port.send("lf\n") },
				}
			})
		})
	}
}

func TestARealSerialPortDoesWhatADriverMust(t *testing.T) {
	d := devices()[0]
	sensortest.Suite(t, func(t *testing.T, clock *sensortest.Clock) sensortest.Subject {
		far := startEmulator(t, sensortest.EmulatorOptions{})
		far.Mute(true)
		port := openPort(t, far)
		driver, err := New(port, d.options(clock, func() (Port, error) { return openAgain(far) }))
		if err != nil {
			t.Fatal(err)
		}
		far.Say("\n")
		return sensortest.Subject{
			Driver: driver, Sensor: "p1", Want: wanted, Silence: SilentIntervals * interval,
			Good:       func() { far.Say(d.good + "\r\n") },
			Garbled:    func() { far.Say(strings.Repeat("\xff", 3) + "\n") },
			OutOfRange: func() { far.Say(d.outOfRange + "\n") },
			Gone:       far.Unplug,
			Back: func() {
				if err := far.Replug(); err != nil {
					t.Fatal(err)
				}
			},
		}
	})
}

func startEmulator(t *testing.T, options sensortest.EmulatorOptions) *sensortest.Emulator {
	t.Helper()
	options.Link = filepath.Join(t.TempDir(), "usb-pot-sensor")
	far, err := sensortest.StartEmulator(options)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(far.Close)
	return far
}

func openPort(t *testing.T, far *sensortest.Emulator) Port {
	t.Helper()
	port, err := openAgain(far)
	if err != nil {
		t.Fatal(err)
	}
	return port
}

func openAgain(far *sensortest.Emulator) (Port, error) {
	port, err := serialport.Open(far.Path(), serialport.Settings{Baud: 115200})
	if err != nil {
		return nil, err
	}
	return port, nil
}
