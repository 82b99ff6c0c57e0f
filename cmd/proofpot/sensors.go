package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"text/tabwriter"
	"time"

	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/rig/wiring"
	"proofpot/sensors"
	"proofpot/sensors/health"
	"proofpot/sensors/traffic"
)

type sensorsCmd struct {
	Bench  string        `help:"Bench file (bench.toml), whose sensors are read. Without it: what this computer has." type:"path" placeholder:"FILE"`
	Once   bool          `help:"Read for --for, print once and end."`
	For    time.Duration `help:"How long to read; 0: until Ctrl-C, with --once 5 s. The noise takes 20 s or more to show." placeholder:"TIME"`
	JSON   bool          `help:"Print a line of JSON in place of each table."`
	Record string        `help:"Write what goes over serial ports and the buses I2C, SPI and 1-Wire into a file that a test can play back." type:"path" placeholder:"FILE"`
	Probe  bool          `help:"Without --bench: also ask I2C buses for the parts that can tell who they are. One byte is written to each address of such a part."`
}

// Help is shown by proofpot sensors --help.
func (sensorsCmd) Help() string {
	return `Without --bench it lists serial ports, I2C buses, 1-wire devices and GPIO chips, and opens no port: that would start
most boards anew.

With --bench it reads the sensors of a bench and shows the value of each, its noise, how many come a second, its age, and
what is wrong with it. Valves are not touched. Exit code 1 says that something is wrong with a sensor, or that it has no
value.

Example: proofpot sensors --bench bench.toml --once --for 25s`
}

const (
	sensorsPeriod = 100 * time.Millisecond
	tableEvery    = time.Second
	onceFor       = 5 * time.Second
)

// Run lists what there is, or shows the sensors of a bench.
func (c *sensorsCmd) Run(w *world) error {
	if c.Bench == "" {
		if c.Once || c.For != 0 || c.Record != "" {
			return errors.New("--once, --for and --record read the sensors of a bench; give --bench FILE")
		}
		return c.list(w)
	}
	if c.Probe {
		return errors.New("--probe looks for parts that no bench file names yet; leave out --bench or --probe")
	}
	bench, err := setup.LoadBench(c.Bench)
	if err != nil {
		return err
	}
	clock := rig.NewRealClock()
	var recorder *traffic.Recorder
	if c.Record != "" {
		file, err := os.OpenFile(c.Record, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
		if errors.Is(err, os.ErrExist) {
			return fmt.Errorf("%s is there already; nothing recorded is overwritten, give another name", c.Record)
		}
		if err != nil {
			return err
		}
		defer file.Close()
		recorder = traffic.NewRecorder(file, func() time.Duration { return clock.Now().Mono })
	}
	read, err := wiring.OpenSensors(bench, clock, recorder)
	if err != nil {
		if recorder != nil {
			os.Remove(c.Record) // nothing stands in it
		}
		return coded{exitBench, err}
	}
	err = c.watch(w, clock, read)
	err = errors.Join(err, read.Close())
	if recorder != nil {
		err = errors.Join(err, recorder.Err())
	}
	return err
}

// watch reads until the time is over or the operator ends it.
func (c *sensorsCmd) watch(w *world, clock rig.Clock, read *wiring.Sensors) error {
	last := c.For
	if c.Once && last == 0 {
		last = onceFor
	}
	start := clock.Now().Mono
	table := start + tableEvery
	var readings []sensors.Reading
	drawn := 0
	for next := start; ; next += sensorsPeriod {
		clock.WaitUntil(w.ctx, next)
		now := clock.Now()
		readings = read.Read(now, readings[:0])
		over := w.ctx.Err() != nil || last > 0 && now.Mono-start >= last
		if !over && (c.Once || now.Mono < table) {
			continue
		}
		table += tableEvery
		looks := read.Looks()
		if c.JSON {
			if err := printLooksJSON(w.out, now, looks); err != nil {
				return err
			}
		} else {
			if f, ok := w.out.(*os.File); ok && isTerminal(f) && drawn > 0 {
				fmt.Fprintf(w.out, "\x1b[%dA\x1b[J", drawn)
			}
			drawn = printLooks(w.out, now, looks)
		}
		if !over {
			continue
		}
		for _, l := range looks {
			if l.Wrong != sensors.OK || l.Last.Status != sensors.OK {
				return answer(exitNo)
			}
		}
		return nil
	}
}

// printLooks prints the table and says how many lines it has.
func printLooks(out io.Writer, now rig.Instant, looks []health.Look) int {
	b := bufio.NewWriter(out)
	defer b.Flush()
	t := tabwriter.NewWriter(b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "sensor\tmeasures\tvalue\tnoise\tper second\tage\thealth")
	for _, l := range looks {
		value, age, noise, rate, state := "–", "–", "–", "–", "ok"
		if l.Last.Status == sensors.OK {
			value = valueText(l.Quantity, l.Last.Value)
			age = fmt.Sprintf("%.1f s", (now.Mono - l.Last.At).Seconds())
		} else {
			state = "no value yet"
		}
		if !math.IsNaN(l.Noise) {
			noise, rate = fmt.Sprintf("%.3g %s", l.Noise, l.Quantity.Unit()), fmt.Sprintf("%.3g", l.PerSecond)
		}
		if l.Wrong != sensors.OK {
			state = fmt.Sprintf("%s: %s", l.Wrong, l.Text)
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", l.Sensor, l.Quantity, value, noise, rate, age, state)
	}
	_ = t.Flush() // into memory
	return len(looks) + 1
}

// valueText gives a value as a person reads it.
func valueText(q sensors.Quantity, v float64) string {
	words := map[sensors.Quantity][2]string{
		sensors.ProbeWet: {"dry", "wet"}, sensors.LidOpen: {"shut", "open"},
		sensors.StopOpen: {"released", "pressed"}, sensors.FloatOpen: {"as it should be", "not as it should be"},
	}
	switch w, two := words[q]; {
	case two && v == 0:
		return w[0]
	case two:
		return w[1]
	case q.Unit() == "Pa":
		return fmt.Sprintf("%.0f Pa absolute", v)
	}
	return fmt.Sprintf("%.2f %s", v, q.Unit())
}

// lookJSON is one quantity of one sensor. What is not known is null.
type lookJSON struct {
	Sensor    string   `json:"sensor"`
	Measures  string   `json:"measures"`
	Value     *float64 `json:"value"`
	Unit      string   `json:"unit"`
	AgeS      *float64 `json:"age_s"`
	Noise     *float64 `json:"noise"`
	PerSecond *float64 `json:"per_second"`
	Health    string   `json:"health"`
	Text      string   `json:"text,omitempty"`
}

func printLooksJSON(out io.Writer, now rig.Instant, looks []health.Look) error {
	all := make([]lookJSON, 0, len(looks))
	for _, l := range looks {
		j := lookJSON{Sensor: l.Sensor, Measures: l.Quantity.String(), Unit: l.Quantity.Unit(), Health: l.Wrong.String(), Text: l.Text}
		if l.Last.Status == sensors.OK {
			age := (now.Mono - l.Last.At).Seconds()
			j.Value, j.AgeS = &l.Last.Value, &age
		} else if l.Wrong == sensors.OK {
			j.Health, j.Text = sensors.NoReading.String(), l.Last.Text
		}
		if !math.IsNaN(l.Noise) {
			j.Noise, j.PerSecond = &l.Noise, &l.PerSecond
		}
		all = append(all, j)
	}
	return json.NewEncoder(out).Encode(struct {
		Time    time.Time  `json:"time"`
		Sensors []lookJSON `json:"sensors"`
	}{now.Wall, all})
}
