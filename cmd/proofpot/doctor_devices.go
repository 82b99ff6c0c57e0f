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
)

// waterUnknown is the water's temperature where nothing was read.
var waterUnknown = math.NaN()

// device is a file of the system that a bench file names.
type device struct {
	who  string // sensor "p1"
	path string
	kind string // serial, gpio, file, watchdog
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
	}
	for _, v := range b.Valves {
		who := fmt.Sprintf("valve %q", v.ID)
		add(who, v.Port, "serial")
		add(who, chip(v.Chip), "gpio")
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
var groups = map[string]string{"serial": "dialout", "gpio": "gpio", "watchdog": "proofpot"}

// device says whether a device is there and may be opened. It does not open it:
// that would start most boards anew.
func (p *patient) device(d device) {
	info, err := os.Stat(d.path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		p.ill("plug it in; proofpot sensors lists what there is", "%s of %s is not there", d.path, d.who)
		return
	case err != nil:
		p.ill("ls -l "+d.path, "%s of %s cannot be looked at: %v", d.path, d.who, err)
		return
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
