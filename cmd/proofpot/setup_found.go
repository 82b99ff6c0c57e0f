package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"proofpot/cmd/proofpot/benchfile"
	"proofpot/sensors/discover"
	"proofpot/sensors/gpiochip"
	"proofpot/sensors/serialport"
)

// busPart is a part that told who it is, on its bus.
type busPart struct {
	bus, name, address string
	taken              bool // by an answer before
}

// machine is what is looked at; tests put another in its place.
var machine = discover.System

// found shows what this computer has of what is asked for, and takes the one
// where there is one. A script's answers are its own: nothing is offered there.
func (c *setupCmd) found(w *world, q *benchfile.Question, a benchfile.Answers) {
	if q.Key == "inside_address" && strings.HasPrefix(a["inside_part"], "bm") {
		q.Default = "0x76"
	}
	of, what, _ := strings.Cut(q.Key, "_")
	switch {
	case q.Key == "port":
		c.ports(w, q)
	case c.Answers != "":
	case q.Key == "relay_port":
		c.ports(w, q)
		if q.Default == a["port"] {
			q.Default = ""
		}
	case q.Key == "line":
		if c.sample = listen(a["port"], a["baud"]); c.sample == "" {
			c.show(w, "nothing came from there in "+listenFor.String()+": is the port right, is its speed, does the device print by itself?")
			break
		}
		c.show(w, "it prints: "+strconv.Quote(c.sample))
		switch {
		case strings.HasPrefix(c.sample, "{"):
			q.Default = "json"
		case !strings.Contains(c.sample, "="):
			q.Default = "csv"
		}
	case q.Key == "from" && a["line"] == "key-value":
		for word := range strings.FieldsSeq(c.sample) {
			if key, _, is := strings.Cut(word, "="); is && strings.HasPrefix(key, "p") {
				q.Default = key
				break
			}
		}
	case q.Key == "chip":
		chips, err := gpiochip.List()
		if err != nil {
			c.show(w, err.Error())
		}
		for _, chip := range chips {
			c.show(w, fmt.Sprintf("%s  %s, %d lines", chip.Name, chip.Label, len(chip.Lines)))
		}
	case q.Key == "i2c" && len(machine.Buses()) > 0:
		q.Default = "yes"
	case q.Key == "transducer":
		c.lookAtBuses(w)
		if c.part("ms58") != nil {
			q.Default = "i2c"
		}
	case q.Key == "part":
		if p := c.part("ms58"); p != nil && slices.Contains(q.One, p.name) {
			q.Default = p.name // the 30 bar and the 2 bar part are not told apart
		}
	case q.Key == "room_part":
		if p := c.part("bm"); p != nil {
			q.Default = p.name
		}
	case q.Key == "inside_part":
		if p := c.part("sht"); p != nil {
			q.Default = p.name
		} else if p := c.part("bme"); p != nil {
			q.Default = p.name
		}
	case what == "bus" || what == "address":
		name := a[of+"_part"]
		if of == "part" {
			name = "ms58"
		}
		if p := c.part(name); p != nil && what == "bus" {
			q.Default = p.bus
		} else if p != nil {
			q.Default, p.taken = p.address, true
		}
	case strings.HasSuffix(q.Key, "ds18b20"):
		var left []string
		for _, d := range machine.OneWires() {
			if d.Thermal && strings.HasPrefix(d.ID, "28-") && d.ID != a["chamber_ds18b20"] {
				c.show(w, d.ID+"  thermometer")
				left = append(left, d.ID)
			}
		}
		if len(left) == 1 && of == "chamber" {
			q.Default = left[0]
		}
	}
}

// listenFor is how long a port is listened to. Most boards start anew when their
// port is opened, and take some seconds.
const listenFor = 4 * time.Second

// listen gives the first whole line that comes from a serial port, without what
// is no text; empty where none came.
func listen(port, baud string) string {
	rate, err := strconv.Atoi(baud)
	if err != nil {
		return ""
	}
	p, err := serialport.Open(port, serialport.Settings{Baud: rate})
	if err != nil {
		return ""
	}
	defer p.Close()
	var heard []byte
	chunk := make([]byte, 256)
	for end := time.Now().Add(listenFor); time.Now().Before(end) && len(heard) < 4096; {
		n, err := p.Read(chunk)
		if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
			return ""
		}
		heard = append(heard, chunk[:n]...)
		_, rest, _ := bytes.Cut(heard, []byte("\n")) // the first may be half of one
		for line := range bytes.Lines(rest) {
			if text := strings.TrimSpace(string(line)); line[len(line)-1] == '\n' && text != "" && utf8.ValidString(text) {
				return text
			}
		}
	}
	return ""
}

func (c *setupCmd) show(w *world, text string) {
	if c.Answers == "" {
		fmt.Fprintln(w.errs, "  "+text)
	}
}

// ports lists the serial ports and offers the first that is plugged in.
func (c *setupCmd) ports(w *world, q *benchfile.Question) {
	ports := machine.Ports()
	for _, p := range ports {
		c.show(w, strings.TrimSpace(p.Path+"  "+p.What+" "+p.USB))
		if !p.Mounted && q.Default == "" {
			q.Default = p.Path
		}
	}
	if len(ports) == 0 {
		c.show(w, "this computer shows no serial port: is the device plugged in? A name typed here counts all the same")
	}
}

// lookAtBuses asks the parts on the I2C buses who they are.
func (c *setupCmd) lookAtBuses(w *world) {
	c.parts = nil
	for _, b := range machine.Buses() {
		parts, wrong := probe(b)
		if wrong != "" {
			c.show(w, "bus "+b.Number+": "+wrong)
		}
		for _, p := range parts {
			c.parts = append(c.parts, busPart{bus: b.Number, name: p.Name, address: fmt.Sprintf("0x%02x", p.Addr)})
			c.show(w, fmt.Sprintf("bus %s, address 0x%02x: %s", b.Number, p.Addr, p.Name))
		}
	}
	if len(c.parts) == 0 {
		c.show(w, "none told who it is; parts behind a multiplexer and the SHT3x are not asked")
	}
}

// part is the first part of that name which is not taken yet.
func (c *setupCmd) part(begins string) *busPart {
	for i := range c.parts {
		if p := &c.parts[i]; !p.taken && strings.HasPrefix(p.name, begins) {
			return p
		}
	}
	return nil
}
