//go:build kernel

package wiring

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/sensors"
	"proofpot/sensors/sensortest"
)

// These run on a kernel of their own: sensors/kerneltest/run.

// The gadget, and its cable: what it is bound to. Source: docs.kernel.org,
// usb/gadget_configfs.
const (
	gadget = "/sys/kernel/config/usb_gadget/pot"
	cable  = gadget + "/UDC"
)

// makeGadget makes the microcontroller's end of the cable, once.
func makeGadget(t *testing.T) {
	t.Helper()
	if _, err := os.Stat(gadget); err == nil {
		return
	}
	for _, dir := range []string{"", "/strings/0x409", "/functions/acm.usb0", "/configs/c.1"} {
		if err := os.Mkdir(gadget+dir, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	for file, text := range map[string]string{"/idVendor": "0x0525", "/idProduct": "0xa4a7", "/strings/0x409/serialnumber": "KP-POT"} {
		if err := os.WriteFile(gadget+file, []byte(text), 0); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink(gadget+"/functions/acm.usb0", gadget+"/configs/c.1/acm.usb0"); err != nil {
		t.Fatal(err)
	}
}

// usbPot is a microcontroller with a transducer at the far end of a USB cable:
// the kernel's serial gadget. link is the name below by-id that udev would keep.
type usbPot struct {
	t    *testing.T
	link string
	quit chan struct{}
}

func newUSBPot(t *testing.T) *usbPot {
	t.Helper()
	p := &usbPot{t: t, link: filepath.Join(t.TempDir(), "usb-pot-sensor"), quit: make(chan struct{})}
	makeGadget(t)
	p.plugIn()
	go p.print()
	t.Cleanup(func() { close(p.quit); p.pull() })
	return p
}

// print prints lines for ever, to nobody while the cable is out.
func (p *usbPot) print() {
	var far *os.File
	for n := 0; ; n++ {
		select {
		case <-p.quit:
			return
		case <-time.After(20 * time.Millisecond):
		}
		if far == nil {
			far, _ = os.OpenFile("/dev/ttyGS0", os.O_RDWR|syscall.O_NOCTTY|syscall.O_NONBLOCK, 0)
			continue
		}
		body := fmt.Sprintf("p_bar=1.0%02d00 n=%d ", n%10, n)
		sum := byte(0)
		for i := range len(body) {
			sum ^= body[i]
		}
		far.SetWriteDeadline(time.Now().Add(100 * time.Millisecond))
		if _, err := fmt.Fprintf(far, "%s*%02X\r\n", body, sum); err != nil && !os.IsTimeout(err) {
			far.Close()
			far = nil
		}
	}
}

func (p *usbPot) plugIn() {
	p.t.Helper()
	if err := os.WriteFile(cable, []byte("dummy_udc.0"), 0); err != nil {
		p.t.Fatal(err)
	}
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(5 * time.Millisecond) {
		if found, _ := filepath.Glob("/dev/ttyACM*"); len(found) > 0 {
			os.Remove(p.link)
			if err := os.Symlink(found[len(found)-1], p.link); err != nil {
				p.t.Fatal(err)
			}
			return
		}
		if time.Now().After(deadline) {
			p.t.Fatal("no USB serial port appears")
		}
	}
}

// pull pulls the cable and says which port was on it.
func (p *usbPot) pull() string {
	p.t.Helper()
	port, err := filepath.EvalSymlinks(p.link)
	if err != nil {
		p.t.Fatal(err)
	}
	if err := os.WriteFile(cable, []byte("\n"), 0); err != nil {
		p.t.Fatal(err)
	}
	os.Remove(p.link)
	return port
}

// The lines of the board.
const (
	fillLine, ventLine, stopLine, lidLine, probeLine, floatLine = 0, 1, 2, 3, 4, 5
)

const kernelBench = `id = "pot-9"
medium = "water"
supply = "gas"
chamber_volume_ml = 12000
gas_cushion_ml = 300
stiffness_ml_per_bar = 1.2
rated_bar_gauge = 8.0
relief_bar_gauge = 7.0
on_power_loss = "vent"

[[valve]]
id = "fill"
driver = "gpio-line"
rest = "shut"
chip = "rig-sim"
line = "VALVE_FILL"
active = "high"

[[valve]]
id = "vent"
driver = "gpio-line"
rest = "open"
chip = "rig-sim"
line = "VALVE_VENT"
active = "high"

[[sensor]]
id = "p1"
measures = "chamber pressure"
driver = "serial-line"
port = "PORT"
baud = 115200
line = "key-value"
interval_s = 0.1
[[sensor.field]]
from = "p_bar"
unit = "bar"
reference = "absolute"
`

func kernelSwitch(id, measures, line, active string) string {
	return fmt.Sprintf("\n[[sensor]]\nid = %q\nmeasures = %q\ndriver = \"gpio-line\"\nchip = \"rig-sim\"\nline = %q\nactive = %q\nbias = \"pull-up\"\ninterval_s = 0.1\n",
		id, measures, line, active)
}

type monoClock struct{ start time.Time }

func (c monoClock) WaitUntil(context.Context, time.Duration) {}

func (c monoClock) Now() rig.Instant {
	return rig.Instant{Mono: time.Since(c.start), Wall: time.Now().UTC()}
}

// kernelRig is the bench at work.
type kernelRig struct {
	t *testing.T
	rig.Devices
	clock monoClock
	chip  *sensortest.SimChip
	pot   *usbPot
}

func newKernelRig(t *testing.T) *kernelRig {
	t.Helper()
	r := &kernelRig{t: t, clock: monoClock{time.Now()}, chip: sensortest.NewSimChip(t, "rig-sim", "VALVE_FILL", "VALVE_VENT", "STOP"), pot: newUSBPot(t)}
	text := kernelBench + kernelSwitch("stop", "emergency stop", "STOP", "high") + kernelSwitch("lid", "lid switch", "3", "high") +
		kernelSwitch("w1", "wet probe", "4", "low") + kernelSwitch("level", "float switch", "5", "high")
	for _, line := range []int{stopLine, lidLine, floatLine} { // all is well: the contacts are closed
		defer r.chip.Pull(line, false)
	}
	bench, err := setup.ParseBench("bench.toml", []byte(strings.Replace(text, "PORT", r.pot.link, 1)))
	if err != nil {
		t.Fatal(err)
	}
	if r.Devices, err = Open(bench, r.clock); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Devices.Close() })
	return r
}

// await reads until a sensor says something.
func (r *kernelRig) await(sensor string, seen func(sensors.Reading) bool) {
	r.t.Helper()
	var last sensors.Reading
	for deadline := time.Now().Add(20 * time.Second); time.Now().Before(deadline); time.Sleep(5 * time.Millisecond) {
		for _, reading := range r.Read(r.clock.Now(), nil) {
			if reading.Sensor == sensor {
				if last = reading; seen(reading) {
					return
				}
			}
		}
	}
	r.t.Fatalf("sensor %s never came to it; its last word: %+v", sensor, last)
}

func is(value float64) func(sensors.Reading) bool {
	return func(r sensors.Reading) bool { return r.Status == sensors.OK && r.Value == value }
}

func has(s sensors.Status) func(sensors.Reading) bool {
	return func(r sensors.Reading) bool { return r.Status == s }
}

// drive wants the valves somewhere and waits until the lines are there.
func (r *kernelRig) drive(want rig.Valves, fill, vent bool) {
	r.t.Helper()
	for deadline := time.Now().Add(5 * time.Second); ; time.Sleep(5 * time.Millisecond) {
		if err := r.Drive(r.clock.Now(), want); err != nil {
			r.t.Fatal(err)
		}
		if r.chip.High(fillLine) == fill && r.chip.High(ventLine) == vent {
			return
		}
		if time.Now().After(deadline) {
			r.t.Fatalf("%+v: the lines are %v and %v", want, r.chip.High(fillLine), r.chip.High(ventLine))
		}
	}
}

func TestKernelSwitchesAndProbesAreReadAndValvesDriven(t *testing.T) {
	r := newKernelRig(t)
	for sensor, line := range map[string]int{"stop": stopLine, "lid": lidLine, "level": floatLine} {
		r.await(sensor, is(0))
		r.chip.Pull(line, true) // pressed, open, or its wire broken
		r.await(sensor, is(1))
		r.chip.Pull(line, false)
		r.await(sensor, is(0))
	}
	r.await("w1", is(0))
	r.chip.Pull(probeLine, false) // water from the line to ground
	r.await("w1", is(1))
	// Fill opens with power, vent shuts with power.
	r.drive(rig.Valves{Vent: true}, false, false)
	r.drive(rig.Valves{Fill: true}, true, true)
	r.drive(rig.Valves{}, false, true)
	r.await("p1", has(sensors.OK))
	if err := r.Devices.Close(); err != nil {
		t.Error(err)
	}
	if r.chip.High(fillLine) || r.chip.High(ventLine) {
		t.Error("a coil has power after the bench was closed")
	}
}

func TestKernelAChipThatVanishesIsAFaultOfEveryLineAndOfTheValves(t *testing.T) {
	r := newKernelRig(t)
	for _, sensor := range []string{"stop", "lid", "w1", "level"} {
		r.await(sensor, is(0))
	}
	r.drive(rig.Valves{}, false, true)
	r.chip.Vanish()
	lost := map[string]bool{}
	for deadline := time.Now().Add(20 * time.Second); len(lost) < 4 && time.Now().Before(deadline); time.Sleep(5 * time.Millisecond) {
		for _, got := range r.Read(r.clock.Now(), nil) {
			lost[got.Sensor] = lost[got.Sensor] || got.Status == sensors.Disconnected
			if got.Sensor == "p1" || !lost[got.Sensor] {
				delete(lost, got.Sensor)
			}
		}
	}
	if len(lost) != 4 {
		t.Fatalf("of four lines only %v are known to be lost", lost)
	}
	for range 100 {
		for _, got := range r.Read(r.clock.Now(), nil) {
			if got.Sensor != "p1" && got.Status == sensors.OK {
				t.Fatalf("a vanished chip reads %+v", got)
			}
		}
		time.Sleep(2 * time.Millisecond)
	}
	var err error
	for deadline := time.Now().Add(5 * time.Second); err == nil && time.Now().Before(deadline); time.Sleep(5 * time.Millisecond) {
		err = r.Drive(r.clock.Now(), rig.Valves{Vent: true})
	}
	if err == nil {
		t.Error("the valves of a vanished chip are driven")
	}
	r.chip.Appear()
	r.await("lid", is(1)) // the contact is gone with the old chip: a broken wire
	r.chip.Pull(lidLine, false)
	r.await("lid", is(0))
}

func TestKernelACablePulledInARunComesBackUnderAnotherName(t *testing.T) {
	r := newKernelRig(t)
	r.await("p1", has(sensors.OK))
	// Somebody else holds the port, so that the kernel must give it another name.
	port, err := filepath.EvalSymlinks(r.pot.link)
	if err != nil {
		t.Fatal(err)
	}
	held, err := os.OpenFile(port, os.O_RDONLY|syscall.O_NOCTTY|syscall.O_NONBLOCK, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer held.Close()
	was := r.pot.pull()
	r.await("p1", has(sensors.Disconnected))
	time.Sleep(200 * time.Millisecond)
	r.pot.plugIn()
	is, err := filepath.EvalSymlinks(r.pot.link)
	if err != nil || is == was {
		t.Errorf("the port was %s and is %s, %v", was, is, err)
	}
	r.await("p1", has(sensors.Restarted))
	r.await("p1", has(sensors.OK))
}
