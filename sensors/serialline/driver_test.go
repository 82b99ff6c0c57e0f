package serialline

import (
	"fmt"
	"io"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"go.bug.st/serial"

	"proofpot/sensors"
	"proofpot/sensors/scale"
	"proofpot/sensors/sensortest"
	"proofpot/sensors/serialline/textline"
)

// pressureOnly is one absolute pressure in Pa, by a key.
func pressureOnly() textline.Config {
	return textline.Config{Sensor: "p1", Shape: textline.KeyValue, Main: sensors.ChamberPressure, Fields: []textline.Field{
		{From: "p", Quantity: sensors.ChamberPressure, Unit: "Pa", Reference: scale.Absolute}}}
}

// bench is a driver on a fake port with a clock that the test moves.
type bench struct {
	*Driver
	t     *testing.T
	clock sensortest.Clock
	cable fakeCable
	port  *fakePort
}

func newBench(t *testing.T) *bench {
	b := &bench{t: t}
	b.port = b.cable.plug()
	d, err := New(b.port, Options{Line: pressureOnly(), Interval: time.Second, Clock: b.clock.Now, Reopen: b.cable.open, Every: time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	b.Driver = d
	t.Cleanup(func() { d.Close() })
	b.port.send("\n")
	return b
}

func (b *bench) read() []sensors.Reading { return b.Read(b.clock.Now(), nil) }

// wait reads until something comes.
func (b *bench) wait() []sensors.Reading {
	b.t.Helper()
	for deadline := time.Now().Add(10 * time.Second); time.Now().Before(deadline); time.Sleep(time.Millisecond) {
		if rs := b.read(); len(rs) > 0 {
			return rs
		}
	}
	b.t.Fatal("nothing came")
	return nil
}

func TestALineIsStampedWhenItArrivesNotWhenItIsRead(t *testing.T) {
	b := newBench(t)
	b.clock.Forward(time.Second)
	b.port.send("p=100000\n")
	b.clock.Forward(time.Second)
	b.port.send("p=200000\n")
	if rs := b.Read(1500*time.Millisecond, nil); len(rs) != 1 || rs[0].At != time.Second {
		t.Fatalf("up to 1.5 s: %+v, want the line of 1 s only", rs)
	}
	b.clock.Forward(time.Second)
	if rs := b.read(); len(rs) != 1 || rs[0].At != 2*time.Second || rs[0].Value != 200000 {
		t.Fatalf("at 3 s: %+v, want the line of 2 s", rs)
	}
}

func TestAFloodOfGarbageIsNotAFloodOfFaults(t *testing.T) {
	b := newBench(t)
	b.port.send(strings.Repeat("?!\n", 300))
	rs := b.read()
	if len(rs) != 1 || rs[0].Status != sensors.Garbled {
		t.Fatalf("%d readings of 300 bad lines, want 1 fault: %+v", len(rs), rs)
	}
	b.clock.Forward(2 * time.Second)
	if rs = b.read(); len(rs) != 1 || !strings.HasPrefix(rs[0].Text, "299 more, the last: ") {
		t.Fatalf("afterwards: %+v", rs)
	}
	b.clock.Forward(time.Second)
	if rs = b.read(); len(rs) != 0 {
		t.Fatalf("and then: %+v", rs)
	}
}

func TestLinesThatNobodyReadsAreCountedAndTheNewestKept(t *testing.T) {
	b := newBench(t)
	for i := range queueLength + 100 {
		b.port.send(fmt.Sprintf("p=%d\n", 100000+i))
	}
	rs := b.read()
	last := rs[len(rs)-1]
	if last.Status != sensors.NoReading || !strings.HasPrefix(last.Text, "100 lines were lost") {
		t.Errorf("the loss is told as %+v", last)
	}
	if n := len(rs) - 1; n != queueLength || rs[n-1].Value != 100000+queueLength+99 || rs[0].Value != 100100 {
		t.Errorf("%d values from %v to %v", n, rs[0].Value, rs[n-1].Value)
	}
	if rs = b.read(); len(rs) != 0 {
		t.Errorf("told again: %+v", rs)
	}
}

func TestALineThatNeverEndsIsAFaultAndBounded(t *testing.T) {
	b := newBench(t)
	b.port.send(strings.Repeat("p=1", 100_000))
	if rs := b.read(); len(rs) != 1 || rs[0].Status != sensors.Garbled || len(rs[0].Text) > 200 {
		t.Fatalf("%+v", rs)
	}
	b.port.send("\np=123456\n")
	if rs := b.read(); len(rs) != 1 || rs[0].Value != 123456 {
		t.Fatalf("the next line: %+v", rs)
	}
}

func TestASilenceQuotesTheLastLineSinceTheKeyMayBeMisspelt(t *testing.T) {
	b := newBench(t)
	b.port.send("# P=3\n")
	b.read()
	b.clock.Forward(6 * time.Second)
	rs := b.wait()
	want := `no chamber pressure for 6s; p was due every 1s; the last line was "# P=3"`
	if len(rs) != 1 || rs[0].Status != sensors.NoReading || rs[0].Text != want {
		t.Fatalf("%+v, want %q", rs, want)
	}
	b.clock.Forward(59 * time.Second)
	if rs = b.read(); len(rs) != 0 {
		t.Fatalf("too early again: %+v", rs)
	}
	b.clock.Forward(time.Second)
	if rs = b.read(); len(rs) != 1 || rs[0].Text != "still: no chamber pressure for 1m6s" {
		t.Fatalf("after a minute: %+v", rs)
	}
}

func TestAPortThatIsLostIsLookedForAndItsReturnIsNoted(t *testing.T) {
	for _, cause := range []error{syscall.EIO, io.EOF, &serial.PortError{}} {
		b := newBench(t)
		b.clock.Forward(time.Second)
		b.port.send("p=100000\np=1000")
		b.wait()
		b.cable.unplug(cause)
		if rs := b.wait(); len(rs) != 1 || rs[0].Status != sensors.Disconnected {
			t.Fatalf("%v: %+v", cause, rs)
		}
		b.clock.Forward(70 * time.Second)
		if rs := b.read(); len(rs) != 1 || rs[0].Status != sensors.Disconnected || rs[0].Text != "still: no chamber pressure for 1m10s" {
			t.Fatalf("%v, a minute later: %+v", cause, rs)
		}
		port := b.cable.plug()
		port.send("00\np=200000\n") // the tail must not end the line that was cut
		rs := b.wait()
		if len(rs) != 2 || rs[0].Status != sensors.Restarted || rs[0].Text != "the port is back after 1m10s" || rs[1].Value != 200000 {
			t.Fatalf("%v, back: %+v", cause, rs)
		}
	}
}

func TestAPortThatOpensButSaysNothingIsNotBack(t *testing.T) {
	b := newBench(t)
	b.cable.unplug(syscall.EIO)
	b.wait()
	for range 20 { // a device that fails as soon as it is opened
		b.cable.plug()
		b.cable.unplug(syscall.EIO)
		time.Sleep(3 * time.Millisecond)
	}
	b.clock.Forward(time.Second)
	for _, r := range b.read() {
		if r.Status != sensors.Disconnected {
			t.Fatalf("%+v", r)
		}
	}
}

func TestAPortThatCannotBeReopenedStaysLost(t *testing.T) {
	port := newFakePort()
	var clock sensortest.Clock
	d, err := New(port, Options{Line: pressureOnly(), Interval: time.Second, Clock: clock.Now})
	if err != nil {
		t.Fatal(err)
	}
	port.broken <- io.EOF
	for len(d.Read(0, nil)) == 0 {
		time.Sleep(time.Millisecond)
	}
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
}

// stuckPort is a port whose Close hangs, as that of some kernels' drivers does.
type stuckPort struct{ *fakePort }

func (p stuckPort) Close() error {
	p.fakePort.Close()
	select {}
}

func TestClosingDoesNotWaitForAPortThatHangs(t *testing.T) {
	var clock sensortest.Clock
	port := stuckPort{newFakePort()}
	d, err := New(port, Options{Line: pressureOnly(), Interval: time.Second, Clock: clock.Now})
	if err != nil {
		t.Fatal(err)
	}
	port.send("\n")
	started := time.Now()
	if err := d.Close(); err == nil || err.Error() != "serial port does not close" {
		t.Errorf("closing it gives %v", err)
	}
	if took := time.Since(started); took > 3*closeWithin {
		t.Errorf("it took %v", took)
	}
}

// emptyPort finds nothing, at once, for ever: the library's timeout without its wait.
type emptyPort struct{ reads int }

func (p *emptyPort) Read([]byte) (int, error) { p.reads++; return 0, nil }
func (p *emptyPort) Close() error             { return nil }

func TestAPortThatReturnsNothingDoesNotSpin(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		port := &emptyPort{}
		start := time.Now()
		d, err := New(port, Options{Line: pressureOnly(), Interval: time.Second, Clock: func() time.Duration { return time.Since(start) }})
		if err != nil {
			t.Fatal(err)
		}
		time.Sleep(10 * time.Second)
		if rs := d.Read(time.Since(start), nil); len(rs) != 1 || rs[0].Status != sensors.NoReading {
			t.Errorf("%+v", rs)
		}
		if err := d.Close(); err != nil {
			t.Error(err)
		}
		if port.reads > 1100 {
			t.Errorf("%d reads in 10 s", port.reads)
		}
	})
}

func TestAWrongMappingOpensNothing(t *testing.T) {
	config := pressureOnly()
	config.Fields[0].Unit = "atm"
	if _, err := New(newFakePort(), Options{Line: config, Interval: time.Second}); err == nil {
		t.Error("a wrong unit is taken")
	}
	if _, err := New(newFakePort(), Options{Line: pressureOnly()}); err == nil {
		t.Error("no interval is taken")
	}
}

func BenchmarkRead(b *testing.B) {
	q := newQueue(queueLength)
	parser, err := textline.NewParser(pressureOnly(), nil)
	if err != nil {
		b.Fatal(err)
	}
	line := []byte("p=321405.2 n=1")
	var e event
	var to []sensors.Reading
	b.ReportAllocs()
	for b.Loop() {
		q.put(aLine, 0, line)
		q.take(0, &e)
		parser.Restart()
		to = parser.Line(e.at, e.text, to[:0])
	}
}
