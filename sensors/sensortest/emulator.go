package sensortest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/term"
)

// Emulator is a microcontroller with a pressure transducer on a pot, at the far
// end of a serial port, together with the person who works the pot's valves. It
// prints text lines on the master side of a pseudo-terminal pair and knows
// nothing of the code that reads them. It runs faster than life if asked to.
//
// The pot is plain on purpose: SetTargetPa opens the right valve, the pressure
// goes there at the configured rate and the valve is shut; from then on only
// the leak moves it.
type Emulator struct {
	options EmulatorOptions

	mu       sync.Mutex
	master   *os.File     // nil while unplugged
	slave    *os.File     // held, so that the port exists while nobody reads it
	turns    atomic.Int64 // of lines
	random   *rand.Rand
	started  time.Time
	moved    time.Duration // pot time up to which the pressure is computed
	pa       float64       // absolute
	targetPa float64       // absolute; NaN while both valves are shut
	leak     float64       // 1/s
	n        int
	mute     bool
	dropped  int

	quit chan struct{}
	done chan struct{}
}

// EmulatorOptions is the pot and how its microcontroller prints.
type EmulatorOptions struct {
	Link    string                // path of the port to make: a symbolic link, as udev's by-id names are
	Every   time.Duration         // between two lines, real time; 0: 10 ms
	Pace    float64               // seconds of the pot in a real second; 0: 1
	RoomPa  float64               // Pa absolute; 0: 101325
	RatePaS float64               // Pa/s of pot time while a valve is open; 0: 20000
	LeakS   float64               // share of the gauge pressure that is lost in a second of pot time
	NoisePa float64               // standard deviation
	WaterC  float64               // °C
	Print   func(Measured) string // one line without its end; nil: PrintKeyValue
	Seed    uint64                // of the noise
	Ticked  bool                  // the pot's time goes on with each line's turn, and stands while this process gets no time
}

// Measured is what the microcontroller has to print.
type Measured struct {
	N          int // line number since it started
	AbsolutePa float64
	RoomPa     float64
	WaterC     float64
}

// PrintKeyValue prints "p_bar=3.21400 t_c=18.42 n=17 *68": gauge pressure, with
// a sequence number and a checksum as NMEA 0183 has it.
func PrintKeyValue(m Measured) string {
	body := fmt.Sprintf("p_bar=%.5f t_c=%.2f n=%d ", (m.AbsolutePa-m.RoomPa)/1e5, m.WaterC, m.N)
	sum := byte(0)
	for _, b := range []byte(body) {
		sum ^= b
	}
	return fmt.Sprintf("%s*%02X", body, sum)
}

// PrintCSV prints "17;321405,0;18,42": absolute pressure in Pa, decimal commas.
func PrintCSV(m Measured) string {
	return strings.ReplaceAll(fmt.Sprintf("%d;%.1f;%.2f", m.N, m.AbsolutePa, m.WaterC), ".", ",")
}

// PrintJSON prints {"n":17,"pot":{"kpa":321.405},"t":[18.42]}: absolute pressure.
func PrintJSON(m Measured) string {
	return fmt.Sprintf(`{"n":%d,"pot":{"kpa":%.4f},"t":[%.2f]}`, m.N, m.AbsolutePa/1e3, m.WaterC)
}

// StartEmulator plugs the emulator in. Its Link's folder must exist.
func StartEmulator(options EmulatorOptions) (*Emulator, error) {
	if options.Every == 0 {
		options.Every = 10 * time.Millisecond
	}
	if options.Pace == 0 {
		options.Pace = 1
	}
	if options.RoomPa == 0 {
		options.RoomPa = 101325
	}
	if options.RatePaS == 0 {
		options.RatePaS = 20000
	}
	if options.Print == nil {
		options.Print = PrintKeyValue
	}
	e := &Emulator{
		options: options, random: rand.New(rand.NewPCG(options.Seed, 1)), started: time.Now(),
		pa: options.RoomPa, targetPa: math.NaN(), leak: options.LeakS,
		quit: make(chan struct{}), done: make(chan struct{}),
	}
	if err := e.plug(); err != nil {
		return nil, fmt.Errorf("emulated serial port: %w", err)
	}
	go e.run()
	return e, nil
}

// Path is the port to open.
func (e *Emulator) Path() string { return e.options.Link }

// Clock gives the time of the pot since its start: real time, Pace times as fast,
// or the turns of its lines, where it is Ticked.
func (e *Emulator) Clock() time.Duration {
	if e.options.Ticked {
		return time.Duration(float64(e.turns.Load()) * float64(e.options.Every) * e.options.Pace)
	}
	return time.Duration(float64(time.Since(e.started)) * e.options.Pace)
}

// SetTargetPa lets the person fill or vent to an absolute pressure in Pa.
func (e *Emulator) SetTargetPa(pa float64) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.move()
	e.targetPa = pa
}

// SetLeak sets the share of the gauge pressure that is lost in a second of pot time.
func (e *Emulator) SetLeak(perSecond float64) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.move()
	e.leak = perSecond
}

// PressurePa is the true absolute pressure of the pot in Pa.
func (e *Emulator) PressurePa() float64 {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.move()
	return e.pa
}

// Garbage sends what a wrong baud rate or a bad cable makes: bytes of all
// values, some of them line ends.
func (e *Emulator) Garbage() {
	e.mu.Lock()
	defer e.mu.Unlock()
	junk := make([]byte, 200)
	for i := range junk {
		junk[i] = byte(e.random.Uint32())
	}
	junk[50], junk[100], junk[150] = '\n', 0xFF, '\n'
	e.send(junk)
	e.send([]byte("\r\n"))
}

// Reset makes the microcontroller start anew in the middle of a line.
func (e *Emulator) Reset() {
	e.mu.Lock()
	defer e.mu.Unlock()
	line := e.line()
	e.send([]byte(line[:len(line)/2]))
	e.n = 0
	e.send([]byte("rst:0x8 (watchdog), boot from flash\r\n"))
}

// Say sends a text as it stands.
func (e *Emulator) Say(text string) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.send([]byte(text))
}

// Mute stops the printing, and starts it again.
func (e *Emulator) Mute(on bool) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.mute = on
}

// Unplug pulls the cable: the port's name goes at once, and what was not yet
// read is lost.
func (e *Emulator) Unplug() {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.unplug()
}

// Replug plugs the cable in again: another device of the kernel's, under the
// same name. The microcontroller starts anew.
func (e *Emulator) Replug() error {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.master != nil {
		return nil
	}
	e.n = 0
	return e.plug()
}

// Dropped counts the lines that nobody took in time.
func (e *Emulator) Dropped() int {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.dropped
}

// Close stops the emulator and takes its port away. It may be called again.
func (e *Emulator) Close() {
	select {
	case <-e.quit:
		return
	default:
	}
	close(e.quit)
	<-e.done
	e.Unplug()
}

func (e *Emulator) run() {
	defer close(e.done)
	ticker := time.NewTicker(e.options.Every)
	defer ticker.Stop()
	for {
		select {
		case <-e.quit:
			return
		case <-ticker.C:
		}
		e.turns.Add(1)
		e.mu.Lock()
		e.move()
		if !e.mute && e.master != nil {
			e.send([]byte(e.line() + "\r\n"))
		}
		e.mu.Unlock()
	}
}

// move brings the pressure up to the present.
func (e *Emulator) move() {
	now := e.Clock()
	dt := (now - e.moved).Seconds()
	e.moved = now
	e.pa = e.options.RoomPa + (e.pa-e.options.RoomPa)*math.Exp(-e.leak*dt)
	if math.IsNaN(e.targetPa) {
		return
	}
	way := e.targetPa - e.pa
	if most := e.options.RatePaS * dt; math.Abs(way) > most {
		e.pa += math.Copysign(most, way)
		return
	}
	e.pa, e.targetPa = e.targetPa, math.NaN()
}

// line is the next line to print.
func (e *Emulator) line() string {
	m := Measured{N: e.n, AbsolutePa: e.pa + e.random.NormFloat64()*e.options.NoisePa,
		RoomPa: e.options.RoomPa, WaterC: e.options.WaterC}
	e.n++
	return e.options.Print(m)
}

// send writes to the port, and drops what nobody takes, as a serial line does.
func (e *Emulator) send(p []byte) {
	if e.master == nil {
		return
	}
	if err := e.master.SetWriteDeadline(time.Now().Add(20 * time.Millisecond)); err != nil {
		e.dropped++
		return
	}
	if _, err := e.master.Write(p); err != nil {
		e.dropped++
	}
}

func (e *Emulator) plug() error {
	master, slave, err := openPair()
	if err != nil {
		return err
	}
	// Without an echo of its own, whoever opens it and in whatever state.
	if _, err := term.MakeRaw(int(slave.Fd())); err != nil {
		master.Close()
		slave.Close()
		return err
	}
	// A name appears at once and whole, as udev's do.
	fresh := filepath.Join(filepath.Dir(e.options.Link), ".new-"+filepath.Base(e.options.Link))
	os.Remove(fresh)
	err = os.Symlink(slave.Name(), fresh)
	if err == nil {
		err = os.Rename(fresh, e.options.Link)
	}
	if err != nil {
		master.Close()
		slave.Close()
		return err
	}
	e.master, e.slave = master, slave
	return nil
}

func (e *Emulator) unplug() {
	if e.master == nil {
		return
	}
	os.Remove(e.options.Link)
	e.slave.Close()
	e.master.Close()
	e.master, e.slave = nil, nil
}
