// Package discover says what a computer has that a bench may hang on: serial
// ports, I2C buses, 1-wire devices, GPIO chips. It reads what the kernel shows and
// opens nothing: opening a serial port starts most boards anew.
//
// Probe, which is asked for by name, also talks to an I2C bus, but only at the
// addresses of parts that carry an identity, and only by asking for that. Source
// of each identity: the data sheet named beside it.
package discover

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Root is where the kernel's files are; tests put others there.
type Root string

// System is the computer itself.
const System Root = "/"

// Port is a serial port.
type Port struct {
	Path    string // the name that stays with the device, where there is one
	Device  string // /dev/ttyUSB0
	What    string // product, maker and serial number, of a USB device
	USB     string // vendor and product id, 0403:6001
	Mounted bool   // it is on the computer's board, not plugged in
}

// Bus is an I2C bus.
type Bus struct {
	Number string
	Name   string
	Held   []string // addresses that a driver of the kernel has, in hexadecimal
}

// OneWire is a device on a 1-wire bus.
type OneWire struct {
	ID      string // 28-0316a2794bff
	Thermal bool   // a thermometer, DS18B20 or DS18S20
}

func (r Root) path(name string) string { return filepath.Join(string(r), name) }

func (r Root) glob(pattern string) []string {
	found, _ := filepath.Glob(r.path(pattern)) // the patterns are ours and right
	slices.Sort(found)
	return found
}

func text(file string) string {
	b, err := os.ReadFile(file)
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(b))
}

// Ports lists the serial ports that are plugged in or have a chip behind them.
func (r Root) Ports() []Port {
	byID := map[string]string{}
	for _, link := range r.glob("dev/serial/by-id/*") {
		if to, err := filepath.EvalSymlinks(link); err == nil {
			byID[filepath.Base(to)] = "/dev/serial/by-id/" + filepath.Base(link)
		}
	}
	var all []Port
	for _, class := range r.glob("sys/class/tty/*") {
		name := filepath.Base(class)
		device, err := filepath.EvalSymlinks(filepath.Join(class, "device"))
		if err != nil || name == "console" || text(filepath.Join(class, "type")) == "0" { // 0: no chip behind it
			continue
		}
		p := Port{Path: byID[name], Device: "/dev/" + name, Mounted: true}
		if p.Path == "" {
			p.Path = p.Device
		}
		for dir := device; len(dir) > len(string(r)); dir = filepath.Dir(dir) {
			if vendor := text(filepath.Join(dir, "idVendor")); vendor != "" {
				p.USB, p.Mounted = vendor+":"+text(filepath.Join(dir, "idProduct")), false
				p.What = strings.Join(strings.Fields(strings.Join([]string{text(filepath.Join(dir, "manufacturer")),
					text(filepath.Join(dir, "product")), text(filepath.Join(dir, "serial"))}, " ")), " ")
				break
			}
		}
		all = append(all, p)
	}
	return all
}

// Buses lists the I2C buses that programs may use.
func (r Root) Buses() []Bus {
	var all []Bus
	for _, dev := range r.glob("dev/i2c-*") {
		number := strings.TrimPrefix(filepath.Base(dev), "i2c-")
		b := Bus{Number: number, Name: text(r.path("sys/class/i2c-dev/i2c-" + number + "/name"))}
		for _, d := range r.glob("sys/bus/i2c/devices/" + number + "-00??") {
			if _, err := os.Stat(filepath.Join(d, "driver")); err == nil {
				_, addr, _ := strings.Cut(filepath.Base(d), "-00")
				b.Held = append(b.Held, addr)
			}
		}
		all = append(all, b)
	}
	return all
}

// OneWires lists the devices that the kernel has found on 1-wire buses.
func (r Root) OneWires() []OneWire {
	var all []OneWire
	for _, d := range r.glob("sys/bus/w1/devices/??-*") {
		id := filepath.Base(d)
		all = append(all, OneWire{ID: id, Thermal: strings.HasPrefix(id, "28-") || strings.HasPrefix(id, "10-")})
	}
	return all
}
