package main

import (
	"encoding/json"
	"fmt"
	"strings"

	"periph.io/x/conn/v3/i2c/i2creg"
	"periph.io/x/host/v3"

	"proofpot/sensors/discover"
	"proofpot/sensors/gpiochip"
)

// foundJSON is what a computer has.
type foundJSON struct {
	Ports   []discover.Port    `json:"serial_ports"`
	Buses   []busJSON          `json:"i2c_buses"`
	OneWire []discover.OneWire `json:"one_wire"`
	Chips   []gpiochip.Info    `json:"gpio_chips"`
}

type busJSON struct {
	discover.Bus
	Parts []discover.Part `json:"parts,omitempty"`
	Wrong string          `json:"wrong,omitempty"`
}

// list prints what this computer has that a bench may hang on.
func (c *sensorsCmd) list(w *world) error {
	found := foundJSON{Ports: discover.System.Ports(), OneWire: discover.System.OneWires()}
	for _, b := range discover.System.Buses() {
		j := busJSON{Bus: b}
		if c.Probe {
			j.Parts, j.Wrong = probe(b)
		}
		found.Buses = append(found.Buses, j)
	}
	var err error
	if found.Chips, err = gpiochip.List(); err != nil {
		fmt.Fprintln(w.errs, "proofpot:", err)
	}
	if c.JSON {
		return json.NewEncoder(w.out).Encode(found)
	}
	fmt.Fprintln(w.out, "serial ports:", count(len(found.Ports)))
	for _, p := range found.Ports {
		fmt.Fprintf(w.out, "  %s  %s\n", p.Path, orDash(strings.TrimSpace(p.What+" "+p.USB)))
	}
	fmt.Fprintln(w.out, "I2C buses:", count(len(found.Buses)))
	for _, b := range found.Buses {
		fmt.Fprintf(w.out, "  %s  %s\n", b.Number, orDash(b.Name))
		for _, p := range b.Parts {
			fmt.Fprintf(w.out, "    address 0x%02x  %s\n", p.Addr, p.Name)
		}
		if b.Wrong != "" {
			fmt.Fprintf(w.out, "    %s\n", b.Wrong)
		}
	}
	if len(found.Buses) > 0 && !c.Probe {
		fmt.Fprintln(w.out, "  --probe asks them for the parts that can tell who they are")
	}
	fmt.Fprintln(w.out, "1-wire devices:", count(len(found.OneWire)))
	for _, d := range found.OneWire {
		what := "no thermometer"
		if d.Thermal {
			what = "thermometer"
		}
		fmt.Fprintf(w.out, "  %s  %s\n", d.ID, what)
	}
	fmt.Fprintln(w.out, "GPIO chips:", count(len(found.Chips)))
	for _, chip := range found.Chips {
		fmt.Fprintf(w.out, "  %s  %s, %d lines\n", chip.Label, chip.Name, len(chip.Lines))
		for _, l := range chip.Lines {
			switch {
			case l.Used:
				fmt.Fprintf(w.out, "    %d  %s  used by %s\n", l.Number, orDash(l.Name), orDash(l.Consumer))
			case l.Name != "":
				fmt.Fprintf(w.out, "    %d  %s\n", l.Number, l.Name)
			}
		}
	}
	return nil
}

func probe(b discover.Bus) (parts []discover.Part, wrong string) {
	if _, err := host.Init(); err != nil {
		return nil, err.Error()
	}
	bus, err := i2creg.Open(b.Number)
	if err != nil {
		return nil, fmt.Sprintf("cannot be opened: %v; the group that may is often called i2c", err)
	}
	defer bus.Close()
	return discover.Probe(bus, b.Held), ""
}

func count(n int) string {
	if n == 0 {
		return "none"
	}
	return fmt.Sprint(n)
}

func orDash(s string) string {
	if s == "" {
		return "–"
	}
	return s
}
