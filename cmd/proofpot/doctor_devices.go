package main

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"

	"proofpot/rig/setup"
	"proofpot/sensors/ds18b20"
)

// waterUnknown is the water's temperature where nothing was read.
var waterUnknown = math.NaN()

// device is a file of the system that a bench file names.
type device struct {
	who  string // sensor "p1"
	path string
	kind string // serial, gpio, i2c, spi, one-wire, file, watchdog
}

// devicesOf lists the devices of a bench, each once.
func devicesOf(b setup.Bench) []device {
	var all []device
	seen := map[string]bool{}
	add := func(who, path, kind string) {
		if path != "" && path != "-" && !seen[path] {
			seen[path] = true
			all = append(all, device{who, path, kind})
		}
	}
	chip := func(name string) string {
		if strings.HasPrefix(name, "gpiochip") {
			return "/dev/" + name
		}
		if filepath.IsAbs(name) {
			return name
		}
		return "" // a label: proofpot sensors lists them
	}
	for _, s := range b.Sensors {
		who := fmt.Sprintf("sensor %q", s.ID)
		add(who, s.Port, "serial")
		add(who, chip(s.Chip), "gpio")
		add(who, s.Path, "file")
		switch {
		case s.Driver == setup.DriverDS18B20 && s.Bus == "":
			add(who, ds18b20.KernelFolder+"/"+s.Part+"/w1_slave", "one-wire")
		case s.Driver == setup.DriverDS18B20:
		case s.Bus != "":
			add(who, "/dev/i2c-"+s.Bus, "i2c")
		case s.SPI != "":
			add(who, "/dev/spidev"+s.SPI, "spi")
		}
	}
	for _, v := range b.Valves {
		who := fmt.Sprintf("valve %q", v.ID)
		add(who, v.Port, "serial")
		add(who, chip(v.Chip), "gpio")
	}
	if r := b.Regulator; r != nil && r.Bus != "" {
		add("the regulator", "/dev/i2c-"+r.Bus, "i2c")
	}
	if h := b.Heartbeat; h != nil {
		add("the heartbeat", chip(h.Chip), "gpio")
	}
	if d := b.Watchdog; d != nil {
		add("the watchdog", d.Device, "watchdog")
	}
	return all
}

// groups is whom udev gives a kind of device to: on Debian, and by the rules of
// this project's package.
var groups = map[string]string{"serial": "dialout", "gpio": "gpio", "i2c": "i2c", "spi": "spi", "watchdog": "proofpot"}

// missing says what brings about a kind of device that is not plugged in.
var missing = map[string]string{
	"i2c":      "switch the bus on (on many small boards: dtparam=i2c_arm=on in config.txt) and load its files: sudo modprobe i2c-dev",
	"spi":      "switch the bus on (on many small boards: dtparam=spi=on in config.txt)",
	"one-wire": "connect it, with 4.7 kΩ from data to 3.3 V, and switch the bus on: sudo modprobe w1-gpio w1-therm (on many small boards: dtoverlay=w1-gpio in config.txt)",
}

// device says whether a device is there and may be opened. It does not open it:
// that would start most boards anew.
func (p *patient) device(d device) {
	info, err := os.Stat(d.path)
	switch {
	case errors.Is(err, fs.ErrNotExist) && missing[d.kind] != "":
		p.ill(missing[d.kind], "%s of %s is not there", d.path, d.who)
		return
	case errors.Is(err, fs.ErrNotExist):
		p.ill("plug it in; proofpot sensors lists what there is", "%s of %s is not there", d.path, d.who)
		return
	case err != nil:
		p.ill("ls -l "+d.path, "%s of %s cannot be looked at: %v", d.path, d.who, err)
		return
	case d.kind == "one-wire": // every user may read it
	case !mayOpen(d.path):
		mend := "sudo chmod a+rw " + d.path
		if group := groups[d.kind]; group != "" {
			mend = "sudo usermod -aG " + group + " $USER, then log in anew"
		}
		p.ill(mend, "this user may not read and write %s of %s (%s)", d.path, d.who, info.Mode())
		return
	}
	p.well("%s of %s is there and may be opened", d.path, d.who)
}
