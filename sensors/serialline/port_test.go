package serialline

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"proofpot/sensors"
	"proofpot/sensors/scale"
	"proofpot/sensors/sensortest"
	"proofpot/sensors/serialline/textline"
)

func TestClosingEndsAReadThatWaits(t *testing.T) {
	far := startEmulator(t, sensortest.EmulatorOptions{})
	far.Mute(true)
	var clock sensortest.Clock
	d, err := New(openPort(t, far), Options{Line: pressureOnly(), Interval: time.Second, Clock: clock.Now})
	if err != nil {
		t.Fatal(err)
	}
	time.Sleep(10 * time.Millisecond)
	started := time.Now()
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	if took := time.Since(started); took > time.Second {
		t.Errorf("closing took %v", took)
	}
}

// gaugeLine reads the emulator's key=value lines.
func gaugeLine() textline.Config {
	return textline.Config{Sensor: "p1", Shape: textline.KeyValue, Main: sensors.ChamberPressure, Fields: []textline.Field{
		{From: "p_bar", Quantity: sensors.ChamberPressure, Unit: "bar", Reference: scale.Gauge, Low: -0.5, High: 10},
		{From: "t_c", Quantity: sensors.ChamberWater, Unit: "C"}}}
}

// TestARunWithGarbageAResetAndAnUnplug goes through all that a bad day brings,
// over a real pseudo-terminal, a hundred times faster than life.
func TestARunWithGarbageAResetAndAnUnplug(t *testing.T) {
	far := startEmulator(t, sensortest.EmulatorOptions{Pace: 100, Every: 5 * time.Millisecond, WaterC: 11.5, RatePaS: 50_000})
	d, err := New(openPort(t, far), Options{Line: gaugeLine(), Interval: 5 * time.Second, Room: scale.NewRoom(101325, false),
		Clock: far.Clock, Reopen: func() (Port, error) { return openAgain(far) }, Every: 10 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	await := func(what string, seen func(sensors.Reading) bool) sensors.Reading {
		t.Helper()
		for deadline := time.Now().Add(20 * time.Second); time.Now().Before(deadline); time.Sleep(time.Millisecond) {
			for _, r := range d.Read(far.Clock(), nil) {
				if r.Status == sensors.OK && r.Quantity == sensors.ChamberPressure && (r.Value < 101_000 || r.Value > 500_100) {
					t.Fatalf("a pressure that never was: %+v", r)
				}
				if seen(r) {
					return r
				}
			}
		}
		t.Fatalf("no %s", what)
		return sensors.Reading{}
	}
	status := func(s sensors.Status) func(sensors.Reading) bool {
		return func(r sensors.Reading) bool { return r.Status == s }
	}
	pressure := func(pa float64) func(sensors.Reading) bool {
		return func(r sensors.Reading) bool {
			return r.Status == sensors.OK && r.Quantity == sensors.ChamberPressure && r.Value > pa-2 && r.Value < pa+2
		}
	}
	await("room pressure", pressure(101325))
	far.SetTargetPa(500_000)
	await("pressure of the target", pressure(500_000))
	far.Garbage()
	await("garbled line", status(sensors.Garbled))
	await("pressure after garbage", pressure(500_000))
	far.Reset()
	if r := await("restart", status(sensors.Restarted)); !strings.Contains(r.Text, "boot from fl") {
		t.Errorf("the restart does not quote the device: %s", r.Text)
	}
	await("pressure after the restart", pressure(500_000))
	far.Mute(true)
	await("silence", status(sensors.NoReading))
	far.Mute(false)
	await("pressure after the silence", pressure(500_000))
	far.Unplug()
	await("lost port", status(sensors.Disconnected))
	if err := far.Replug(); err != nil {
		t.Fatal(err)
	}
	await("news of the return", func(r sensors.Reading) bool {
		return r.Status == sensors.Restarted && strings.HasPrefix(r.Text, "the port is back after ")
	})
	await("pressure after the return", pressure(500_000))
	far.SetTargetPa(101325)
	await("room pressure again", pressure(101325))
}

func TestAThousandLinesASecondArriveWhole(t *testing.T) {
	far := startEmulator(t, sensortest.EmulatorOptions{})
	far.Mute(true)
	var clock sensortest.Clock
	d, err := New(openPort(t, far), Options{Line: gaugeLine(), Interval: time.Hour, Room: scale.NewRoom(101325, false), Clock: clock.Now})
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	far.Say("\r\n")
	const lines, burst = 3000, 20
	values, faults := 0, 0
	count := func() {
		for _, r := range d.Read(0, nil) {
			switch {
			case r.Status != sensors.OK:
				faults++
				t.Errorf("%+v", r)
			case r.Quantity == sensors.ChamberPressure:
				values++
			}
		}
	}
	started := time.Now()
	for n := 0; n < lines; n += burst {
		var b bytes.Buffer
		for i := range burst {
			b.WriteString(sensortest.PrintKeyValue(sensortest.Measured{N: n + i, AbsolutePa: 2e5, RoomPa: 101325, WaterC: 9}) + "\r\n")
		}
		far.Say(b.String())
		time.Sleep(time.Until(started.Add(time.Duration(n+burst) * time.Millisecond)))
		if n%100 == 0 { // the loop reads at 10 Hz
			count()
		}
	}
	for deadline := time.Now().Add(10 * time.Second); values < lines && time.Now().Before(deadline); time.Sleep(time.Millisecond) {
		count()
	}
	if values != lines || faults != 0 || far.Dropped() != 0 {
		t.Errorf("%d of %d values, %d faults, %d bursts that the port did not take", values, lines, faults, far.Dropped())
	}
}

func TestADeviceThatTricklesAByteAtATimeIsRead(t *testing.T) {
	far := startEmulator(t, sensortest.EmulatorOptions{})
	far.Mute(true)
	var clock sensortest.Clock
	d, err := New(openPort(t, far), Options{Line: gaugeLine(), Interval: time.Hour, Room: scale.NewRoom(101325, false), Clock: clock.Now})
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	for _, b := range "\r\np_bar=1.5 t_c=10\r\n" {
		far.Say(string(b))
		time.Sleep(2 * time.Millisecond)
	}
	for deadline := time.Now().Add(10 * time.Second); time.Now().Before(deadline); time.Sleep(time.Millisecond) {
		if rs := d.Read(0, nil); len(rs) > 0 {
			if rs[0].Status != sensors.OK || rs[0].Value != 251325 {
				t.Errorf("%+v", rs)
			}
			return
		}
	}
	t.Error("nothing came")
}
