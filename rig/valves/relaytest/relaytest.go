// Package relaytest is a relay board at the far end of a serial port, for tests:
// it prints and obeys on a pseudo-terminal and knows nothing of the code that
// drives it. Its commands are those of rig/setup's example: SET n ON, SET n OFF,
// GET n; and PULSE n ms, which it ends by itself.
package relaytest

import (
	"bufio"
	"io"
	"os"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/creack/pty"
	"golang.org/x/term"
)

// Board is a relay board, and ways in which one misbehaves.
type Board struct {
	// Moved is called after each relay that moved; it must not wait. May be nil.
	Moved func(relay string, on bool)

	mu     sync.Mutex
	on     map[string]bool
	ends   map[string]*time.Timer
	mute   bool
	wrong  string
	before string
	stuck  bool
	master *os.File
	slave  *os.File
}

// Start plugs a board in. Path gives its port.
func Start(moved func(relay string, on bool)) (*Board, error) {
	master, slave, err := pty.Open()
	if err != nil {
		return nil, err
	}
	if _, err := term.MakeRaw(int(slave.Fd())); err != nil {
		return nil, err
	}
	b := &Board{Moved: moved, on: map[string]bool{}, ends: map[string]*time.Timer{}, master: master, slave: slave}
	go b.serve()
	return b, nil
}

// Path is the board's serial port.
func (b *Board) Path() string { return b.slave.Name() }

// Close pulls the cable. The relays stay as they are.
func (b *Board) Close() {
	b.master.Close()
	b.slave.Close()
}

// On says whether a relay's coil has power.
func (b *Board) On(relay string) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.on[relay]
}

// Mute makes the board obey without a word.
func (b *Board) Mute(on bool) { b.set(func() { b.mute = on }) }

// Answer makes the board answer with text, whatever is right; "" ends that.
func (b *Board) Answer(text string) { b.set(func() { b.wrong = text }) }

// Chatter makes the board say text before each answer.
func (b *Board) Chatter(text string) { b.set(func() { b.before = text }) }

// Stick keeps the relays where they are.
func (b *Board) Stick(on bool) { b.set(func() { b.stuck = on }) }

// Restart drops every relay, as a board does whose power blinks.
func (b *Board) Restart() {
	b.set(func() {
		for relay, on := range b.on {
			b.on[relay] = false
			if on && b.Moved != nil {
				b.Moved(relay, false)
			}
		}
	})
}

func (b *Board) set(change func()) {
	b.mu.Lock()
	defer b.mu.Unlock()
	change()
}

func (b *Board) serve() {
	for lines := bufio.NewScanner(b.master); lines.Scan(); {
		answer, before, mute := b.obey(strings.Fields(lines.Text()))
		if mute {
			continue
		}
		// In two pieces, as a slow board sends it.
		_, _ = io.WriteString(b.master, before+answer[:1])
		time.Sleep(2 * time.Millisecond)
		_, _ = io.WriteString(b.master, answer[1:]+"\r\n")
	}
}

func (b *Board) move(relay string, on bool) {
	if b.on[relay] == on {
		return
	}
	b.on[relay] = on
	if b.Moved != nil {
		b.Moved(relay, on)
	}
}

func (b *Board) obey(words []string) (answer, before string, mute bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	answer = "ERR"
	switch {
	case len(words) == 3 && words[0] == "SET":
		if !b.stuck {
			b.move(words[1], words[2] == "ON")
		}
		answer = "OK"
	case len(words) == 3 && words[0] == "PULSE":
		ms, err := strconv.Atoi(words[2])
		if err != nil || b.stuck {
			break
		}
		b.move(words[1], true)
		if b.ends[words[1]] != nil {
			b.ends[words[1]].Stop()
		}
		b.ends[words[1]] = time.AfterFunc(time.Duration(ms)*time.Millisecond, func() { b.set(func() { b.move(words[1], false) }) })
		answer = "OK"
	case len(words) == 2 && words[0] == "GET":
		answer = words[1] + " OFF"
		if b.on[words[1]] {
			answer = words[1] + " ON"
		}
	}
	if b.wrong != "" {
		answer = b.wrong
	}
	return answer, b.before, b.mute
}
