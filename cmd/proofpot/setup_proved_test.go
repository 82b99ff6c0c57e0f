package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"proofpot/rig/setup"
	"proofpot/sensors/sensortest"
)

// The pot of the test: what its owner does not know of it, and setup must find.
const (
	trueGasML    = 131.0 // free gas at the room's pressure
	trueMLPerBar = 1.55  // chamber and water
	trueLeakS    = 2e-6  // share of the gauge pressure that is lost in a second
	trueRoomPa   = 98000.0
)

// owner sits at the terminal with a hand pump, a cup and a balance: he reads what he is
// told, and does and types it.
type owner struct {
	pot  *sensortest.Emulator
	keys *io.PipeWriter

	mu    sync.Mutex
	heard bytes.Buffer // all of it
	line  string       // what has no end yet
	steps []float64    // Pa gauge, of the curve, those that are left
	begun float64      // Pa absolute, where the curve began
}

var toBar = regexp.MustCompile(`to ([0-9.]+) bar gauge`)

// Write implements io.Writer for what is said to him.
func (o *owner) Write(b []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.heard.Write(b)
	o.line += strings.ReplaceAll(string(b), "\r", "\n")
	for {
		line, rest, whole := strings.Cut(o.line, "\n")
		if !whole {
			break
		}
		o.line = rest
		o.does(strings.ToLower(line))
	}
	switch { // a question has no end of line
	case strings.HasSuffix(o.line, "Read the sensors now? [yes] "), strings.HasSuffix(o.line, "Type yes when all of this is so: "),
		strings.HasSuffix(o.line, "Run it now? [no] "), strings.HasSuffix(o.line, "Measure it now? [no] "):
		o.line = ""
		o.types("yes")
	}
	return len(b), nil
}

// does what a line tells him.
func (o *owner) does(line string) {
	m := toBar.FindStringSubmatch(line)
	switch {
	case strings.HasPrefix(line, "begin: wait until the pressure stands still"):
		o.steps = []float64{5e5, 3.5e5, 2.3e5, 1.3e5, 0.6e5}
		o.begun = trueRoomPa + o.steps[0]
		o.next()
	case strings.HasSuffix(line, " bar gauge") && len(o.steps) > 0: // the pressure of a point was read
		o.steps = o.steps[1:]
		o.next()
	case !strings.Contains(line, ">>>"):
	case strings.Contains(line, "vent fully"):
		o.pot.SetTargetPa(trueRoomPa)
	case m != nil:
		bar, _ := strconv.ParseFloat(m[1], 64)
		o.pot.SetTargetPa(trueRoomPa + bar*1e5)
	}
}

// next bleeds to the next pressure and types what the cup weighs, at 15 °C, where
// a gram of water is 1.00087 ml (CRC Handbook, density of water: 0.99913 g/ml).
func (o *owner) next() {
	if len(o.steps) == 0 {
		o.pot.SetTargetPa(trueRoomPa)
		o.types("")
		return
	}
	pa := trueRoomPa + o.steps[0]
	o.pot.SetTargetPa(pa)
	bled := trueMLPerBar*(o.begun-pa)/1e5 + trueGasML*trueRoomPa*(1/pa-1/o.begun)
	time.AfterFunc(1500*time.Millisecond, func() { o.types(fmt.Sprintf("%.3f", bled/1.00087)) })
}

func (o *owner) types(text string) { go func() { _, _ = io.WriteString(o.keys, text+"\n") }() }

const shortBlank = `name = "short-blank"
purpose = "a test's"
water = { model = "fresh", temperature_c = 12.0, latitude_deg = 47.0 }
proof_factor = 1.25
ramp_m_per_min = 60.0
[[stage]]
name = "high"
depth_m = 30.0
settle_s = 5
hold_s = 25
[accept]
leak_ml_per_h = 60.0
`

// TestSetupProvesABenchFromItsFirstQuestionToWhatItDetects goes through all of it at a
// terminal, the blank and the stiffness too, on a pot whose pressure comes over a
// serial port, by a real clock.
func TestSetupProvesABenchFromItsFirstQuestionToWhatItDetects(t *testing.T) {
	if os.Getenv("PROOFPOT_SLOW") == "" {
		t.Skip("two minutes of a real clock: PROOFPOT_SLOW=1")
	}
	t.Parallel()
	dir := t.TempDir()
	file := func(name string) string { return filepath.Join(dir, name) }
	far, err := sensortest.StartEmulator(sensortest.EmulatorOptions{Link: file("pot"), RoomPa: trueRoomPa, RatePaS: 4e5, NoisePa: 15, LeakS: trueLeakS,
		Every: 20 * time.Millisecond, WaterC: 12, Seed: 3,
		Print: func(m sensortest.Measured) string {
			return fmt.Sprintf("p_bar=%.6f t_c=%.2f", m.AbsolutePa/1e5, m.WaterC)
		}})
	if err != nil {
		t.Skip("no pseudo-terminal here: ", err)
	}
	t.Cleanup(far.Close)
	if err := os.WriteFile(file("short.toml"), []byte(shortBlank), 0o666); err != nil {
		t.Fatal(err)
	}
	questions := strings.Join([]string{"pot-7", "hand", "water", "water", "9500", "120", "", "8", "7", "no", file("pot"), "", "", "", "", "absolute", "980", "10", "", "t_c", "", ""}, "\n") + "\n"
	keys, typing := io.Pipe()
	o := &owner{pot: far, keys: typing}
	var out bytes.Buffer
	c := setupCmd{Bench: file("bench.toml"), Records: file("records"), Read: 25 * time.Second, Wait: time.Minute, Blank: file("short.toml")}
	c.State = file("state")
	ctx, stop := context.WithTimeout(context.Background(), 5*time.Minute)
	defer stop()
	defer context.AfterFunc(ctx, func() { typing.Close() })() // whoever waits for an answer then gets none
	if err := c.Run(&world{ctx: ctx, in: io.MultiReader(strings.NewReader(questions), keys), out: &out, errs: o, inTTY: true}); err != nil {
		o.mu.Lock()
		defer o.mu.Unlock()
		t.Fatalf("%v\n%s\n%s", err, out.String(), tail(o.heard.String()))
	}
	for _, said := range []string{"bench.toml is written", "1. The reading at open vent", "2. Lid, emergency stop, vent", "ok  the sensors answer", "the bench itself loses", "kept in " + file("bench.measured.toml"),
		"free gas is", "5. What this bench can detect", "next: describe the unit"} {
		if !strings.Contains(out.String(), said) {
			t.Errorf("it did not say %q:\n%s", said, out.String())
		}
	}
	for _, said := range []string{"CAUTION", "Type yes when all of this is so", "with no unit in the chamber", "a cup and a balance"} {
		if !strings.Contains(o.heard.String(), said) {
			t.Errorf("he was not told %q", said)
		}
	}
	b, err := setup.LoadBench(c.Bench)
	if err != nil || b.ID != "pot-7" || math.Abs(b.Sensors[0].NoisePa-15) > 4 {
		t.Errorf("%v: bench %q, noise %v Pa, want 15", err, b.ID, b.Sensors[0].NoisePa)
	}
	m, err := setup.LoadMeasured(c.Bench)
	if err != nil || len(m.Blanks) != 1 || m.Stiffness == nil {
		t.Fatalf("%v: %+v", err, m)
	}
	if s := m.Stiffness; math.Abs(s.MLPerBar-trueMLPerBar) > 3*s.SDMLPerBar+0.05 || math.Abs(s.GasML-trueGasML) > 3*s.SDGasML+1 || s.Points != 5 {
		t.Errorf("stiffness %+v, where %v ml/bar and %v ml of gas are true", s, trueMLPerBar, trueGasML)
	}
	// By the sheet's 120 ml: what the leak takes from the gauge pressure is worth C = V/p + stiffness.
	pa := trueRoomPa + 2.94e5
	want := trueLeakS * 3600 * 1e5 * (120*trueRoomPa/(pa*pa) + 1e-20)
	if b := m.Blanks[0]; math.Abs(b.MLPerHPerBar-want) > 3*b.SDMLPerHPerBar+want/2 {
		t.Errorf("the bench loses %v ± %v ml/h/bar, where %v is true", b.MLPerHPerBar, b.SDMLPerHPerBar, want)
	}
}

// Who lent the lines out gets what is typed after that, and whoever had them their end.
func TestTypedLinesAreLentAndComeBack(t *testing.T) {
	r, w := io.Pipe()
	lines := newTypedLines(r)
	over, ended := make(chan struct{}), make(chan string)
	lent := lines.until(over)
	go func() { all, _ := io.ReadAll(lent); ended <- string(all) }()
	_, _ = io.WriteString(w, "for the run\n")
	_, _ = io.WriteString(w, "f") // taken from the pipe: the line before is read
	close(over)
	if got := <-ended; got != "for the run\n" {
		t.Errorf("the run read %q", got)
	}
	go func() { _, _ = io.WriteString(w, "or setup\nnext\n"); w.Close() }()
	one := make([]byte, 100)
	if n, err := lines.Read(one); err != nil || string(one[:n]) != "for setup\n" {
		t.Errorf("setup read %q, %v", one[:n], err)
	}
	if rest, err := io.ReadAll(lines); err != nil || string(rest) != "next\n" {
		t.Errorf("then %q, %v", rest, err)
	}
}
