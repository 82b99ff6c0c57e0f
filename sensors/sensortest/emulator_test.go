package sensortest

import (
	"bufio"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

func start(t *testing.T, options EmulatorOptions) *Emulator {
	t.Helper()
	options.Link = filepath.Join(t.TempDir(), "port")
	e, err := StartEmulator(options)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(e.Close)
	return e
}

// open opens the port as a file, with nothing of the driver in between.
func open(t *testing.T, e *Emulator) *bufio.Reader {
	t.Helper()
	f, err := os.Open(e.Path())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return bufio.NewReader(f)
}

func TestThePersonTakesThePotToThePressureAskedFor(t *testing.T) {
	e := start(t, EmulatorOptions{Pace: 100, RatePaS: 100_000, RoomPa: 100_000})
	if pa := e.PressurePa(); pa != 100_000 {
		t.Fatalf("at first %v Pa", pa)
	}
	e.SetTargetPa(400_000)
	began := e.Clock()
	for e.PressurePa() < 400_000 {
		time.Sleep(time.Millisecond)
	}
	if took := (e.Clock() - began).Seconds(); took < 3 {
		t.Errorf("300 kPa at 100 kPa/s took %v s", took)
	}
	before := e.PressurePa()
	e.SetLeak(0.01)
	from := e.Clock()
	time.Sleep(50 * time.Millisecond)
	pa, to := e.PressurePa(), e.Clock()
	// At least the time that passed between the two calls, and the exponential law.
	if most := 100_000 + (before-100_000)*math.Exp(-0.01*(to-from).Seconds()+0.05); pa >= before || pa > most {
		t.Errorf("a leak took it from %v to %v Pa in %v", before, pa, to-from)
	}
	e.SetLeak(0)
	e.SetTargetPa(100_000)
	for e.PressurePa() > 100_000 {
		time.Sleep(time.Millisecond)
	}
}

func TestTheLinesSayWhatThePotHas(t *testing.T) {
	m := Measured{N: 17, AbsolutePa: 321_405, RoomPa: 101_325, WaterC: 18.42}
	if got, want := PrintCSV(m), "17;321405,0;18,42"; got != want {
		t.Errorf("csv %q, want %q", got, want)
	}
	var parsed struct {
		N   int
		Pot struct{ KPa float64 }
		T   []float64
	}
	if err := json.Unmarshal([]byte(PrintJSON(m)), &parsed); err != nil || parsed.N != 17 || parsed.Pot.KPa != 321.405 || parsed.T[0] != 18.42 {
		t.Errorf("json %+v, %v", parsed, err)
	}
	got := PrintKeyValue(m)
	body, sum, _ := strings.Cut(got, "*")
	if body != "p_bar=2.20080 t_c=18.42 n=17 " {
		t.Errorf("key-value %q", got)
	}
	var exclusiveOr byte
	for i := range len(body) {
		exclusiveOr ^= body[i]
	}
	if said, err := strconv.ParseUint(sum, 16, 8); err != nil || byte(said) != exclusiveOr {
		t.Errorf("checksum of %q", got)
	}
}

func TestThePortCanBePulledAndPutBackUnderTheSameName(t *testing.T) {
	e := start(t, EmulatorOptions{Every: time.Millisecond})
	port := open(t, e)
	line, err := port.ReadString('\n')
	if err != nil || !strings.HasPrefix(line, "p_bar=") {
		t.Fatalf("%q, %v", line, err)
	}
	e.Unplug()
	e.Unplug()
	if _, err := os.Stat(e.Path()); !os.IsNotExist(err) {
		t.Errorf("the name is still there: %v", err)
	}
	for err = nil; err == nil; {
		_, err = port.ReadString('\n')
	}
	for range 2 {
		if err := e.Replug(); err != nil {
			t.Fatal(err)
		}
	}
	if line, err = open(t, e).ReadString('\n'); err != nil || !strings.Contains(line, "p_bar=") {
		t.Errorf("back: %q, %v", line, err)
	}
}

func TestAResetCutsALineAndStartsToCountAnew(t *testing.T) {
	e := start(t, EmulatorOptions{Every: time.Millisecond})
	port := open(t, e)
	for range 5 {
		if _, err := port.ReadString('\n'); err != nil {
			t.Fatal(err)
		}
	}
	e.Reset()
	for {
		line, err := port.ReadString('\n')
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(line, "boot from flash") {
			if !strings.HasPrefix(line, "p_bar=") {
				t.Errorf("the restart cut no line: %q", line)
			}
			break
		}
	}
	if line, err := port.ReadString('\n'); err != nil || !strings.Contains(line, " n=0 ") {
		t.Errorf("after the restart: %q, %v", line, err)
	}
}

func TestGarbageIsNoText(t *testing.T) {
	e := start(t, EmulatorOptions{Every: time.Hour})
	port := open(t, e)
	e.Garbage()
	junk := make([]byte, 202)
	for n := 0; n < len(junk); {
		m, err := port.Read(junk[n:])
		if err != nil {
			t.Fatal(err)
		}
		n += m
	}
	if junk[100] != 0xFF || string(junk[200:]) != "\r\n" {
		t.Errorf("%x", junk)
	}
}

func TestAPortThatNobodyReadsDoesNotHoldTheEmulatorUp(t *testing.T) {
	e := start(t, EmulatorOptions{Every: 100 * time.Microsecond})
	for e.Dropped() == 0 {
		time.Sleep(10 * time.Millisecond)
	}
	e.Close()
	e.Close()
}
