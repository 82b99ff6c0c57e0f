//go:build kernel

package sensortest

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// SimChip is a GPIO chip that the kernel simulates (gpio-sim): its driver is the
// kernel's own, and a test pulls and watches its lines from the other side.
// Source: docs.kernel.org, admin-guide/gpio/gpio-sim.
type SimChip struct {
	t     *testing.T
	dir   string // configfs
	lines string // sysfs
}

// NewSimChip makes a chip whose lines have these names.
func NewSimChip(t *testing.T, label string, names ...string) *SimChip {
	t.Helper()
	c := &SimChip{t: t, dir: "/sys/kernel/config/gpio-sim/" + label}
	bank := filepath.Join(c.dir, "bank0")
	for _, dir := range []string{c.dir, bank} {
		if err := os.Mkdir(dir, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	c.put(bank+"/num_lines", "8")
	c.put(bank+"/label", label)
	for i, name := range names {
		line := bank + "/line" + string(rune('0'+i))
		if err := os.Mkdir(line, 0o755); err != nil {
			t.Fatal(err)
		}
		c.put(line+"/name", name)
	}
	c.Appear()
	t.Cleanup(func() {
		os.WriteFile(c.dir+"/live", []byte("0"), 0)
		for i := range names {
			os.Remove(bank + "/line" + string(rune('0'+i)))
		}
		os.Remove(bank)
		os.Remove(c.dir)
	})
	return c
}

// Appear plugs the chip in.
func (c *SimChip) Appear() {
	c.t.Helper()
	c.put(c.dir+"/live", "1")
	c.lines = filepath.Join("/sys/devices/platform", c.get(c.dir+"/dev_name"), c.get(c.dir+"/bank0/chip_name"))
	for deadline := time.Now().Add(5 * time.Second); ; time.Sleep(time.Millisecond) {
		if _, err := os.Stat(c.lines); err == nil {
			return
		}
		if time.Now().After(deadline) {
			c.t.Fatal("the simulated chip does not appear")
		}
	}
}

// Vanish pulls the chip out, whoever holds its lines.
func (c *SimChip) Vanish() { c.t.Helper(); c.put(c.dir+"/live", "0") }

// Pull pulls a line up or down from outside.
func (c *SimChip) Pull(line int, up bool) {
	c.t.Helper()
	word := "pull-down"
	if up {
		word = "pull-up"
	}
	c.put(c.file(line, "pull"), word)
}

// High says whether a line is high, seen from outside.
func (c *SimChip) High(line int) bool { c.t.Helper(); return c.get(c.file(line, "value")) == "1" }

func (c *SimChip) file(line int, name string) string {
	return filepath.Join(c.lines, "sim_gpio"+string(rune('0'+line)), name)
}

func (c *SimChip) put(file, text string) {
	c.t.Helper()
	if err := os.WriteFile(file, []byte(text), 0); err != nil {
		c.t.Fatal(err)
	}
}

func (c *SimChip) get(file string) string {
	c.t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		c.t.Fatal(err)
	}
	return strings.TrimSpace(string(b))
}
