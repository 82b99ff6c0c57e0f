package serialrelay

import (
	"errors"
	"io"
	"os"
	"strings"
	"testing"
	"time"

	"proofpot/rig/valves/relaytest"
)

// near is the near end as the bench's port gives it: a Read returns after a
// while without a byte.
type near struct{ *os.File }

func (n near) Read(b []byte) (int, error) {
	if err := n.SetReadDeadline(time.Now().Add(20 * time.Millisecond)); err != nil {
		return 0, err
	}
	return n.File.Read(b)
}

func plug(t *testing.T) (*relaytest.Board, near) {
	t.Helper()
	b, err := relaytest.Start(nil)
	if err != nil {
		t.Skip("no pseudo-terminal here: ", err)
	}
	// Not blocking, so that deadlines work.
	port, err := os.OpenFile(b.Path(), os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close(); port.Close() })
	return b, near{port}
}

func commands(n string, normallyOpen bool) Commands {
	c := Commands{Open: "SET " + n + " ON\r\n", Shut: "SET " + n + " OFF\r\n", Answer: "OK", Ask: "GET " + n + "\r\n",
		OpenAnswer: n + " ON", ShutAnswer: n + " OFF", Wait: 200 * time.Millisecond}
	if normallyOpen {
		c.Open, c.Shut, c.OpenAnswer, c.ShutAnswer = c.Shut, c.Open, c.ShutAnswer, c.OpenAnswer
	}
	return c
}

func TestTwoValvesOnOneBoardMoveAndAreReadBack(t *testing.T) {
	far, port := plug(t)
	b := NewBoard(port)
	fill, vent := b.Relay(commands("1", false)), b.Relay(commands("2", true))
	for _, want := range []struct{ fill, vent bool }{{false, true}, {false, false}, {true, false}, {false, true}} {
		if err := errors.Join(fill.Set(want.fill), vent.Set(want.vent)); err != nil {
			t.Fatal(err)
		}
		f, knownF, err1 := fill.Stands()
		v, knownV, err2 := vent.Stands()
		if f != want.fill || v != want.vent || !knownF || !knownV || err1 != nil || err2 != nil {
			t.Errorf("wanted %+v, stands %v %v (%v, %v)", want, f, v, err1, err2)
		}
		if far.On("1") != want.fill || far.On("2") == want.vent { // the vent's coil shuts it
			t.Errorf("wanted %+v, the relays stand %v %v", want, far.On("1"), far.On("2"))
		}
	}
	if err := fill.Close(); err != nil {
		t.Error(err)
	}
	if err := vent.Set(true); err != nil {
		t.Errorf("the other valve lost its port: %v", err)
	}
	if err := vent.Close(); err != nil || vent.Set(true) == nil {
		t.Errorf("the last valve did not let go of the port: %v", err)
	}
}

func TestABoardThatMisbehavesIsReported(t *testing.T) {
	far, port := plug(t)
	fill := NewBoard(port).Relay(commands("1", false))
	for _, c := range []struct {
		what string
		harm func()
		want string
	}{
		{"silence", func() { far.Mute(true) }, `no answer to "SET 1 ON\r\n" within 200ms`},
		{"a refusal", func() { far.Mute(false); far.Answer("ERR 7") }, `"SET 1 ON\r\n" was answered with "ERR 7\r\n" within 200ms, want one of ["OK"]`},
	} {
		c.harm()
		if err := fill.Set(true); err == nil || err.Error() != c.want {
			t.Errorf("%s: %v, want %s", c.what, err, c.want)
		}
	}
	far.Answer("")
	far.Chatter("# up 17 s\r\n")
	if err := fill.Set(false); err != nil {
		t.Errorf("a chatty board: %v", err)
	}
	far.Stick(true)
	if err := fill.Set(true); err != nil {
		t.Error(err)
	}
	if open, known, err := fill.Stands(); known && open || err != nil {
		t.Errorf("a stuck relay stands open %v, %v", open, err)
	}
}

func TestABoardThatCannotTellIsNotBelieved(t *testing.T) {
	far, port := plug(t)
	c := commands("1", false)
	c.Ask, c.Answer = "", ""
	fill := NewBoard(port).Relay(c)
	if err := fill.Set(true); err != nil {
		t.Fatal(err)
	}
	if _, known, err := fill.Stands(); known || err != nil {
		t.Errorf("known %v, %v", known, err)
	}
	for deadline := time.Now().Add(5 * time.Second); ; time.Sleep(time.Millisecond) {
		if far.On("1") {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("the command did not arrive")
		}
	}
}

// flaky fails at one call of the port.
type flaky struct {
	io.ReadWriteCloser
	n, at int
	short bool
}

var errPort = errors.New("input/output error")

func (f *flaky) fails() bool { f.n++; return f.n == f.at }

func (f *flaky) Flush() error {
	if f.fails() {
		return errPort
	}
	return nil
}

func (f *flaky) Write(b []byte) (int, error) {
	if f.fails() {
		if f.short {
			return len(b) - 1, nil
		}
		return 0, errPort
	}
	return f.ReadWriteCloser.Write(b)
}

func (f *flaky) Read(b []byte) (int, error) {
	if f.fails() {
		return 0, errPort
	}
	return f.ReadWriteCloser.Read(b)
}

func TestEveryTransferThatFailsIsReported(t *testing.T) {
	_, port := plug(t)
	for at := 1; at <= 3; at++ { // throw away, write, read
		f := &flaky{ReadWriteCloser: port, at: at}
		if err := NewBoard(f).Relay(commands("1", false)).Set(true); !errors.Is(err, errPort) {
			t.Errorf("call %d of a command: %v", at, err)
		}
		time.Sleep(10 * time.Millisecond) // an answer that nobody waited for
		f = &flaky{ReadWriteCloser: port, at: at}
		if _, known, err := NewBoard(f).Relay(commands("1", false)).Stands(); known || !errors.Is(err, errPort) {
			t.Errorf("call %d of asking: %v", at, err)
		}
		time.Sleep(10 * time.Millisecond)
	}
	f := &flaky{ReadWriteCloser: port, at: 2, short: true}
	if err := NewBoard(f).Relay(commands("1", false)).Set(true); err == nil || !strings.Contains(err.Error(), "9 of 10 bytes") {
		t.Errorf("a short write: %v", err)
	}
}

// TestAPulseIsEndedByTheBoardAndNotByUs: the port is dropped in the middle of one,
// as by a process that dies, and the relay falls all the same.
func TestAPulseIsEndedByTheBoardAndNotByUs(t *testing.T) {
	far, port := plug(t)
	c := commands("1", false)
	plain := NewBoard(port).Relay(c)
	if plain.EndsPulses() {
		t.Error("a board without a command for it ends pulses")
	}
	c.Pulse = "PULSE 1 {ms}\r\n"
	fill := NewBoard(port).Relay(c)
	if !fill.EndsPulses() {
		t.Fatal("it does not end its pulses")
	}
	if err := fill.Pulse(150 * time.Millisecond); err != nil || !far.On("1") {
		t.Fatalf("open %v, %v", far.On("1"), err)
	}
	if err := fill.Pulse(300 * time.Millisecond); err != nil || !far.On("1") { // and it begins anew
		t.Fatalf("open %v, %v", far.On("1"), err)
	}
	port.Close()
	for end := time.Now().Add(10 * time.Second); far.On("1"); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("the relay stays pulled in")
		}
	}
}

func TestAPulseThatIsNotTakenIsReported(t *testing.T) {
	far, port := plug(t)
	c := commands("1", false)
	c.Pulse = "PULSE 1 {ms}\r\n"
	fill := NewBoard(port).Relay(c)
	far.Stick(true)
	if err := fill.Pulse(time.Second); err == nil || !strings.Contains(err.Error(), `"PULSE 1 1000\r\n" was answered with "ERR`) {
		t.Error(err)
	}
}
