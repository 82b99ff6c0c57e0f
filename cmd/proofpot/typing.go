package main

import (
	"fmt"
	"strconv"
	"strings"
	"sync"
	"time"

	"proofpot/analysis/characterise"
	"proofpot/sensors/typed"
)

// typing is the gauges that a person reads and types in a run. Its line is called
// by whoever listens to the terminal, the rest by the loop.
type typing struct {
	gauges []*typed.Driver

	mu    sync.Mutex
	notes []string // for the record
	says  []string // for him
}

// line takes a typed line that names a gauge, or is a number where there is one
// gauge only, and says whether it is that.
func (t *typing) line(text string) bool {
	words := strings.Fields(text)
	if len(words) == 2 && words[0]+" " == characterise.StrokesNote {
		t.mu.Lock()
		defer t.mu.Unlock()
		if n, err := strconv.ParseFloat(words[1], 64); err != nil || !(n > 0) {
			t.says = append(t.says, fmt.Sprintf("%q is no number of strokes; type, say, strokes 14.5", words[1]))
		} else {
			t.notes = append(t.notes, characterise.StrokesNote+words[1])
		}
		return true
	}
	for _, g := range t.gauges {
		var number string
		switch {
		case len(words) == 2 && words[0] == g.Sensor():
			number = words[1]
		case len(words) == 1 && len(t.gauges) == 1:
			number = words[0]
		default:
			continue
		}
		note, err := g.Enter(number)
		t.mu.Lock()
		defer t.mu.Unlock()
		if err != nil {
			t.says = append(t.says, err.Error())
		} else {
			t.notes = append(t.notes, note)
		}
		return true
	}
	if len(words) > 0 && len(t.gauges) > 0 {
		t.mu.Lock()
		defer t.mu.Unlock()
		t.says = append(t.says, fmt.Sprintf("%q is for no gauge; type its name and what it shows", text))
	}
	return false
}

// note gives the next note for the record, or nothing.
func (t *typing) note() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	if len(t.notes) == 0 {
		return ""
	}
	n := t.notes[0]
	t.notes = t.notes[1:]
	return n
}

// step asks for what is due and answers what was typed.
func (t *typing) step(now time.Duration, say func(now time.Duration, text string)) {
	for _, g := range t.gauges {
		if ask, due := g.Due(now); due {
			say(now, ask)
		}
	}
	t.mu.Lock()
	says := t.says
	t.says = nil
	t.mu.Unlock()
	for _, text := range says {
		say(now, text)
	}
}
