package modbus

import (
	"context"
	"errors"
	"math"
	"os"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"proofpot/sensors"
	"proofpot/sensors/poll"
	"proofpot/sensors/scale"
	"proofpot/sensors/sensortest"
)

// slave is a device at the far end of a fake port, hand-assembled after the
// specification.
type slave struct {
	mu        sync.Mutex
	registers map[uint16]uint16
	answer    func(request, answer []byte) []byte // may damage it; nil: none
	plugged   bool
	asked     int
}

// plug is the near end of its cable.
type plug struct {
	s    *slave
	come []byte
}

func (p *plug) Write(b []byte) (int, error) {
	p.s.mu.Lock()
	defer p.s.mu.Unlock()
	if !p.s.plugged {
		return 0, syscall.EIO
	}
	p.s.asked++
	a := []byte{b[0], b[1], b[5] * 2}
	for i := range uint16(b[5]) {
		r := p.s.registers[uint16(b[2])<<8+uint16(b[3])+i]
		a = append(a, byte(r>>8), byte(r))
	}
	a = withCRC(a)
	if p.s.answer != nil {
		a = p.s.answer(b, a)
	}
	p.come = append(p.come, a...)
	return len(b), nil
}

func (p *plug) Read(b []byte) (int, error) {
	p.s.mu.Lock()
	defer p.s.mu.Unlock()
	if !p.s.plugged {
		return 0, syscall.EIO
	}
	if len(p.come) == 0 {
		p.s.mu.Unlock()
		time.Sleep(time.Millisecond)
		p.s.mu.Lock()
		return 0, os.ErrDeadlineExceeded
	}
	b[0] = p.come[0] // one at a time
	p.come = p.come[1:]
	return 1, nil
}

func (p *plug) Flush() error { p.come = nil; return nil }
func (p *plug) Close() error { return nil }

func (s *slave) open() (Port, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.plugged {
		return nil, syscall.ENOENT
	}
	return &plug{s: s}, nil
}

func (s *slave) set(change func(s *slave)) { s.mu.Lock(); defer s.mu.Unlock(); change(s) }

func ptr(r uint16) *uint16 { return &r }

func potFields() []Field {
	return []Field{
		{Scale: scale.Scale{From: "4", Quantity: sensors.ChamberPressure, Unit: "kPa", Reference: scale.Gauge, Low: -20, High: 1000},
			Function: ReadHolding, Register: 4, Type: Int16, DecimalsFrom: ptr(3), UnitFrom: ptr(2), UnitCode: 1},
		{Scale: scale.Scale{From: "10", Quantity: sensors.ChamberWater, Unit: "C"},
			Function: ReadInput, Register: 10, Type: Float32, WordOrder: LowFirst},
	}
}

const wantPa, wantC = 101325 + 321400, 18.5

func goodSlave() *slave {
	bits := math.Float32bits(wantC)
	return &slave{plugged: true, registers: map[uint16]uint16{2: 1, 3: 1, 4: 3214, 10: uint16(bits), 11: uint16(bits >> 16)}}
}

// gated measures when the test says so.
type gated struct {
	*Device
	turns chan struct{}
}

func (g gated) Measure(ctx context.Context, results []poll.Result) error {
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-g.turns:
		return g.Device.Measure(ctx, results)
	}
}

func TestAModbusTransmitterDoesWhatADriverMust(t *testing.T) {
	const interval = 5 * time.Millisecond
	sensortest.Suite(t, func(t *testing.T, clock *sensortest.Clock) sensortest.Subject {
		s := goodSlave()
		line := NewLine(s.open, 115200, 20*time.Millisecond)
		device, err := NewDevice(line, 1, potFields())
		if err != nil {
			t.Fatal(err)
		}
		var scales []scale.Scale
		for _, f := range potFields() {
			scales = append(scales, f.Scale)
		}
		turns := make(chan struct{}, 1)
		d, err := poll.New(gated{device, turns}, poll.Options{Sensor: "p1", Fields: scales, Interval: interval,
			Room: scale.NewRoom(101325, false), Clock: clock.Now, Closer: line.Close})
		if err != nil {
			t.Fatal(err)
		}
		turn := func(change func(s *slave)) {
			s.set(change)
			select {
			case turns <- struct{}{}:
			default:
			}
		}
		return sensortest.Subject{
			Driver: d, Sensor: "p1", Want: map[sensors.Quantity]float64{sensors.ChamberPressure: wantPa, sensors.ChamberWater: wantC},
			Silence: poll.SilentIntervals * interval,
			Good:    func() { turn(func(s *slave) { s.answer, s.registers = nil, goodSlave().registers }) },
			Garbled: func() { turn(func(s *slave) { s.answer = func(_, a []byte) []byte { a[3] ^= 1; return a } }) },
			OutOfRange: func() {
				turn(func(s *slave) { s.answer, s.registers[4], s.registers[11] = nil, 0x8000, 0x7F00 })
			},
			Gone: func() { turn(func(s *slave) { s.plugged = false }) },
			Back: func() { turn(func(s *slave) { s.plugged = true }) },
		}
	})
}

// measure asks once, as poll does, and gives what came of it in words.
func measure(t *testing.T, s *slave, fields []Field) (values []float64, status sensors.Status, text string) {
	t.Helper()
	line := NewLine(s.open, 115200, 20*time.Millisecond)
	defer line.Close()
	device, err := NewDevice(line, 1, fields)
	if err != nil {
		t.Fatal(err)
	}
	results := make([]poll.Result, len(fields))
	if err := device.Measure(t.Context(), results); err != nil {
		results = []poll.Result{poll.Bad(poll.StatusOf(err).Kind, "%s", poll.StatusOf(err).Text)}
	}
	for _, r := range results {
		if r.Kind != sensors.OK {
			return nil, r.Kind, r.Text
		}
		values = append(values, r.Value)
	}
	return values, sensors.OK, ""
}

func TestEveryTransferThatFailsIsAFault(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(s *slave)
		status sensors.Status
		text   string
	}{
		{"no answer", func(s *slave) { s.answer = func(_, _ []byte) []byte { return nil } }, sensors.NoReading, "does not answer within"},
		{"cut short", func(s *slave) { s.answer = func(_, a []byte) []byte { return a[:len(a)-1] } }, sensors.Garbled, "ends too early"},
		{"a bit turned", func(s *slave) { s.answer = func(_, a []byte) []byte { a[4] ^= 8; return a } }, sensors.Garbled, "the check word is"},
		{"another device", func(s *slave) { s.answer = func(_, a []byte) []byte { a[0] = 2; return withCRC(a[:len(a)-2]) } }, sensors.Garbled, "an answer of address 2"},
		{"refused", func(s *slave) { s.answer = func(r, _ []byte) []byte { return withCRC([]byte{r[0], r[1] | 0x80, 2}) } }, sensors.NoReading, "refuses registers 2 to 4: exception 2: it has no such register"},
		{"unplugged", func(s *slave) { s.plugged = false }, sensors.Disconnected, "no such file"},
		{"another unit on its display", func(s *slave) { s.registers[2] = 3 }, sensors.Garbled, "the device shows unit 3 (register 2), not the 1 of kPa"},
		{"decimals that cannot be", func(s *slave) { s.registers[3] = 77 }, sensors.Garbled, "register 3 says 77 decimals"},
		{"no number", func(s *slave) { s.registers[11] = 0x7FC0 }, sensors.NoReading, "no value for register 10"},
	} {
		s := goodSlave()
		c.change(s)
		values, status, text := measure(t, s, potFields())
		if status != c.status || !strings.Contains(text, c.text) || strings.Contains(text, "\n") || len(values) > 0 {
			t.Errorf("%s: %v %v %q, want %v with %q", c.name, values, status, text, c.status, c.text)
		}
	}
}

func TestAnAdapterThatEchoesIsUnderstood(t *testing.T) {
	s := goodSlave()
	s.answer = func(r, a []byte) []byte { return append(append([]byte{}, r...), a...) }
	if values, _, text := measure(t, s, potFields()); len(values) != 2 || values[0] != 321.4 || values[1] != wantC {
		t.Errorf("%v %s", values, text)
	}
}

// Computed by hand.
func TestARegisterIsReadAsTheFileSays(t *testing.T) {
	for _, c := range []struct {
		field Field
		raw   []uint16
		want  float64
	}{
		{Field{Type: Uint16, Decimals: 2}, []uint16{0xFF9C}, 654.36},
		{Field{Type: Int16, Decimals: 2}, []uint16{0xFF9C}, -1},
		{Field{Type: Uint32, Decimals: 3}, []uint16{0x0001, 0x0000}, 65.536},
		{Field{Type: Uint32, WordOrder: LowFirst}, []uint16{0x0002, 0x0001}, 65538},
		{Field{Type: Int32}, []uint16{0xFFFF, 0xFFFE}, -2},
		{Field{Type: Float32}, []uint16{0x40C8, 0x0000}, 6.25},
		{Field{Type: Float32, WordOrder: LowFirst}, []uint16{0x0000, 0xC0C8}, -6.25},
	} {
		c.field.Function, c.field.Register = ReadInput, 7
		s := goodSlave()
		for i, r := range c.raw {
			s.registers[7+uint16(i)] = r
		}
		values, _, text := measure(t, s, []Field{c.field})
		if len(values) != 1 || math.Abs(values[0]-c.want) > 1e-9 {
			t.Errorf("%+v: %v %s, want %v", c.field, values, text, c.want)
		}
	}
}

func TestNeighboursAreReadInOneRequest(t *testing.T) {
	s := goodSlave()
	if _, status, text := measure(t, s, potFields()); status != sensors.OK {
		t.Fatal(text)
	}
	if s.asked != 2 { // 2 to 4 by function 3, 10 and 11 by function 4
		t.Errorf("%d requests", s.asked)
	}
}

func TestDevicesOnOneLineTakeTurns(t *testing.T) {
	s := goodSlave()
	line := NewLine(s.open, 115200, 20*time.Millisecond)
	defer line.Close()
	var all sync.WaitGroup
	for address := byte(1); address <= 5; address++ {
		all.Go(func() {
			for range 20 {
				if got, err := line.Read(t.Context(), address, ReadHolding, 4, 1, nil); err != nil || got[0] != 3214 {
					t.Errorf("address %d: %v %v", address, got, err)
				}
			}
		})
	}
	all.Wait()
}

func TestALineThatDoesNotTakeItsRequestEndsItsClose(t *testing.T) {
	stalled := make(chan struct{})
	line := NewLine(func() (Port, error) { return hung{stalled}, nil }, 9600, 0)
	go line.Read(t.Context(), 1, ReadHolding, 0, 1, nil)
	time.Sleep(20 * time.Millisecond)
	if err := line.Close(); err == nil {
		t.Error("closed without a word")
	}
	close(stalled)
}

// hung is a port whose device stalls.
type hung struct{ let chan struct{} }

func (h hung) Write([]byte) (int, error) { <-h.let; return 0, errors.New("let go") }
func (hung) Read([]byte) (int, error)    { return 0, os.ErrDeadlineExceeded }
func (hung) Flush() error                { return nil }
func (hung) Close() error                { return nil }

// The guide, 2.5.1.1: 3.5 characters of 11 bits, and 1.75 ms above 19200 baud.
func TestTheSilenceBetweenFrames(t *testing.T) {
	if got := Silence(9600); got != 4010416*time.Nanosecond {
		t.Error(got)
	}
	if Silence(19200) < 2*time.Millisecond || Silence(115200) != 1750*time.Microsecond {
		t.Error(Silence(19200), Silence(115200))
	}
}
