package modbus

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"proofpot/sensors"
	"proofpot/sensors/poll"
	"proofpot/sensors/serialport"
)

// Port is a serial port; serialport.Port is one. A read that finds nothing for a
// while returns os.ErrDeadlineExceeded.
type Port interface {
	io.ReadWriteCloser
	Flush() error
}

// DefaultTimeout is how long a device may take to answer. The guide, 2.4.1,
// gives 1 s to several seconds at 9600 baud; transmitters answer within some
// tens of ms (common practice).
const DefaultTimeout = 500 * time.Millisecond

// Line is one serial line with its devices. It opens its port when it is first
// needed, and again when it was lost. One request is under way at a time.
type Line struct {
	open    func() (Port, error)
	silence time.Duration
	timeout time.Duration

	turn   chan struct{} // holds one token: whoever has it has the line
	port   Port          // nil while lost
	closed bool
	last   time.Time // of the last byte
	got    [longestAnswer + requestLength]byte
}

// NewLine makes the line of a port. baud gives the silence between frames; a
// timeout of 0 is DefaultTimeout.
func NewLine(open func() (Port, error), baud int, timeout time.Duration) *Line {
	if timeout == 0 {
		timeout = DefaultTimeout
	}
	l := &Line{open: open, silence: Silence(baud), timeout: timeout, turn: make(chan struct{}, 1)}
	l.turn <- struct{}{}
	return l
}

// Silence is the time between two frames: 3.5 characters of 11 bits, and 1.75 ms
// above 19200 baud (guide, 2.5.1.1).
func Silence(baud int) time.Duration {
	if baud > 19200 {
		return 1750 * time.Microsecond
	}
	return 35 * 11 * time.Second / (10 * time.Duration(baud))
}

// Open opens the port where it is not open, to say early what is wrong with it.
func (l *Line) Open() error {
	<-l.turn
	defer l.leave()
	return l.ready()
}

// Read asks a device for count registers from start on and appends them to to.
// Other requests wait their turn. What a device or the line did wrong is a
// poll.Fault; any other error is a lost port.
func (l *Line) Read(ctx context.Context, address, function byte, start, count uint16, to []uint16) ([]uint16, error) {
	select {
	case <-ctx.Done():
		return to, ctx.Err()
	case <-l.turn:
	}
	defer l.leave()
	if err := l.ready(); err != nil {
		return to, err
	}
	if err := poll.Wait(ctx, time.Until(l.last.Add(l.silence))); err != nil {
		return to, err
	}
	registers, err := l.transact(ctx, address, function, start, count, to)
	l.last = time.Now()
	var lost *lostPort
	if errors.As(err, &lost) {
		_ = l.port.Close() // it is lost already
		l.port = nil
		return to, fmt.Errorf("the port is gone: %s", serialport.Why(lost.error))
	}
	return registers, err
}

func (l *Line) leave() { l.turn <- struct{}{} }

func (l *Line) ready() (err error) {
	if l.closed {
		return os.ErrClosed
	}
	if l.port == nil {
		l.port, err = l.open()
		if err != nil {
			l.port = nil
		}
	}
	return err
}

// lostPort is what a port said that is no use any more.
type lostPort struct{ error }

func (l *Line) transact(ctx context.Context, address, function byte, start, count uint16, to []uint16) ([]uint16, error) {
	ask := request(address, function, start, count)
	if err := l.port.Flush(); err != nil {
		return to, &lostPort{err}
	}
	if _, err := l.port.Write(ask[:]); err != nil {
		return to, &lostPort{err}
	}
	asked, n := time.Now(), 0
	var why error
	for {
		got := l.got[:n]
		registers, more, err := parse(got, address, function, count, to)
		if err != nil && bytes.HasPrefix(got, ask[:]) { // the adapter's echo
			registers, more, err = parse(got[requestLength:], address, function, count, to)
		}
		var refused Exception
		switch {
		case errors.As(err, &refused):
			return to, poll.Fault(sensors.NoReading, "%s refuses registers %d to %d: %v", who(address), start, int(start)+int(count)-1, refused)
		case err == nil && !more:
			return registers, nil
		}
		why = err
		if time.Since(asked) > l.timeout || n == len(l.got) || ctx.Err() != nil {
			break
		}
		m, err := l.port.Read(l.got[n:])
		if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
			return to, &lostPort{err}
		}
		if m == 0 {
			if why != nil && n >= requestLength {
				break // damaged, and no more comes
			}
			if err == nil { // a port that does not wait
				time.Sleep(time.Millisecond)
			}
		}
		n += m
	}
	switch {
	case ctx.Err() != nil:
		return to, ctx.Err()
	case n == 0:
		return to, poll.Fault(sensors.NoReading, "%s does not answer within %v; is it powered, and are address, baud and parity those of the device?", who(address), l.timeout)
	case why != nil:
		return to, poll.Fault(sensors.Garbled, "%s: %v", who(address), why)
	}
	return to, poll.Fault(sensors.Garbled, "%s: an answer of %d bytes that ends too early", who(address), n)
}

func who(address byte) string { return fmt.Sprintf("Modbus address %d", address) }

// Close lets go of the port. A request that hangs keeps it; then the error says
// so.
func (l *Line) Close() error {
	select {
	case <-l.turn:
	case <-time.After(2 * time.Second):
		return errors.New("the Modbus line does not take its request and is left as it is")
	}
	defer l.leave()
	if l.closed {
		return nil
	}
	l.closed = true
	if l.port == nil {
		return nil
	}
	err := l.port.Close()
	l.port = nil
	return err
}
