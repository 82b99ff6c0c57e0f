package serialrelay

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"sync"
	"time"

	"proofpot/rig/setup"
)

// Board is a relay board on its port, shared by the valves on it.
type Board struct {
	mu    sync.Mutex
	port  io.ReadWriteCloser
	users int
	buf   [256]byte
	got   []byte
}

// NewBoard takes over a port whose Read returns after a short while without a
// byte: no bytes, with or without os.ErrDeadlineExceeded.
func NewBoard(port io.ReadWriteCloser) *Board { return &Board{port: port} }

// Commands are the texts of one relay.
type Commands struct {
	Open, Shut             string // what the board obeys
	Pulse                  string // opens for as many ms as stand for setup.PulseMS, then shuts by itself; empty: it cannot
	Answer                 string // to either; empty: none is given
	Ask                    string // where the relay stands; empty: the board cannot tell
	OpenAnswer, ShutAnswer string
	Wait                   time.Duration // longest wait for an answer
}

// Output is one valve of a board.
type Output struct {
	board *Board
	c     Commands
}

// Relay gives the valve that obeys the commands.
func (b *Board) Relay(c Commands) *Output {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.users++
	return &Output{b, c}
}

// EndsPulses implements valves.Pulser.
func (o *Output) EndsPulses() bool { return o.c.Pulse != "" }

// Pulse opens the valve for a time, which the board ends. A pulse that is under
// way begins anew.
func (o *Output) Pulse(d time.Duration) error {
	return o.tell(strings.ReplaceAll(o.c.Pulse, setup.PulseMS, strconv.FormatInt(max(1, d.Milliseconds()), 10)))
}

// Set sends the command and waits for its answer, where there is one.
func (o *Output) Set(open bool) error {
	command := o.c.Shut
	if open {
		command = o.c.Open
	}
	return o.tell(command)
}

// tell sends a command and waits for its answer, where there is one.
func (o *Output) tell(command string) error {
	o.board.mu.Lock()
	defer o.board.mu.Unlock()
	if o.c.Answer == "" {
		return o.board.send(command)
	}
	_, err := o.board.exchange(command, o.c.Wait, o.c.Answer)
	return err
}

// Stands asks the board.
func (o *Output) Stands() (open, known bool, err error) {
	if o.c.Ask == "" {
		return false, false, nil
	}
	o.board.mu.Lock()
	defer o.board.mu.Unlock()
	which, err := o.board.exchange(o.c.Ask, o.c.Wait, o.c.OpenAnswer, o.c.ShutAnswer)
	return which == 0, err == nil, err
}

// Close lets go of the port with the last of its valves.
func (o *Output) Close() error {
	o.board.mu.Lock()
	defer o.board.mu.Unlock()
	if o.board.users--; o.board.users > 0 {
		return nil
	}
	return o.board.port.Close()
}

func (b *Board) send(command string) error {
	n, err := b.port.Write([]byte(command))
	if err == nil && n < len(command) {
		err = fmt.Errorf("%d of %d bytes of %q were written", n, len(command), command)
	}
	return err
}

// exchange sends a command and waits for one of the answers, of which it gives
// the number.
func (b *Board) exchange(command string, wait time.Duration, answers ...string) (int, error) {
	if err := b.drain(); err != nil {
		return -1, err
	}
	if err := b.send(command); err != nil {
		return -1, err
	}
	b.got = b.got[:0]
	for deadline := time.Now().Add(wait); ; {
		n, err := b.port.Read(b.buf[:])
		b.got = append(b.got, b.buf[:n]...)
		if which := b.match(answers); which >= 0 {
			return which, nil
		}
		if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
			return -1, fmt.Errorf("after %q: %w", command, err)
		}
		if time.Now().After(deadline) || len(b.got) > 4096 {
			if len(b.got) == 0 {
				return -1, fmt.Errorf("no answer to %q within %s", command, wait)
			}
			return -1, fmt.Errorf("%q was answered with %q within %s, want one of %q", command, b.got[:min(len(b.got), 60)], wait, answers)
		}
	}
}

// match finds the answer that has come. Where one text lies within another the
// longer counts, and it is waited for.
func (b *Board) match(answers []string) int {
	which := -1
	for i, a := range answers {
		if bytes.Contains(b.got, []byte(a)) && (which < 0 || len(a) > len(answers[which])) {
			which = i
		}
	}
	return which
}

// drain throws away what the board said unasked.
func (b *Board) drain() error {
	d, ok := b.port.(interface{ Flush() error })
	if !ok {
		return nil
	}
	return d.Flush()
}
