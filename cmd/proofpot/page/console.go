package page

import (
	"encoding/json"
	"fmt"
	"sync"
	"time"

	"proofpot/analysis"
	"proofpot/rig"
	"proofpot/rig/record"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

// Console is one run as the page sees it: the run tells it what happens, and asks
// it what the operator wants. It never makes the run wait.
type Console struct {
	hub *hub

	mu     sync.Mutex
	view   *view
	live   *analysis.Live
	ladder Ladder
	told   time.Time
	phase  rig.Phase
	leg    int
	events []Event
	so     soFar
	ask    asks
	record string // folder of the run's record, once there is one
	disk   func() time.Duration
	stop   func()
}

// Folder says where the run's record lies. Nil is nobody's console.
func (c *Console) Folder(folder string) {
	if c == nil {
		return
	}
	c.mu.Lock()
	c.record = folder
	c.mu.Unlock()
}

// Disk says how to ask for how long the oldest line of the record waits for the
// disk. Nil is nobody's console.
func (c *Console) Disk(unsynced func() time.Duration) {
	if c == nil {
		return
	}
	c.mu.Lock()
	c.disk = unsynced
	c.mu.Unlock()
}

func (c *Console) folder() string {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.record
}

// asks is what the operator wants of the next step.
type asks struct {
	abort, skip, ready, pause, resume bool
	notes                             []string
}

// Event is something worth a line on the page.
type Event struct {
	Seconds float64 `json:"t"`
	Kind    string  `json:"kind"` // note, fault, run, stage
	Text    string  `json:"text"`
}

const (
	tellEvery  = 100 * time.Millisecond // 10 a second is as much as an eye takes in
	mostEvents = 200
)

// Plan says what is about to be run.
func (c *Console) Plan(run setup.Run, p *rig.Plan, live *analysis.Live) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.view, c.live, c.ladder = newView(run, p), live, newLadder(run, p)
	c.so = soFar{run: run}
	c.events = nil
	c.hub.tell(newsLadder, c.ladder)
	c.hub.tell(newsEvent, c.events)
}

// Checks shows the list before a run.
func (c *Console) Checks(checks []rig.Check) { c.hub.tell(newsChecks, checks) }

// Line sees each line that is recorded.
func (c *Console) Line(l *record.Line) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.so.line(l)
}

// Step sees each step of the loop.
func (c *Console) Step(at rig.Instant, s *rig.State, out *rig.Output, readings []sensors.Reading) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.view.see(readings)
	news := false
	for _, e := range out.Events() {
		switch e.Kind {
		case rig.FaultEvent, rig.NoteEvent, rig.RunEvent:
			kind := map[rig.EventKind]string{rig.FaultEvent: "fault", rig.NoteEvent: "note", rig.RunEvent: "run"}[e.Kind]
			c.event(at.Mono, kind, e.Text)
			news = true
		case rig.StageEvent:
			c.event(at.Mono, "stage", fmt.Sprintf("%s %s", e.Phase, c.ladder.Rungs[min(e.Leg, len(c.ladder.Rungs)-1)].Name))
			news = true
		}
	}
	if news {
		c.hub.tell(newsEvent, c.events)
	}
	leak, detection := c.estimate(at.Mono)
	if changed := s.Phase != c.phase || s.Leg != c.leg || s.Phase == rig.Done; !changed && !news && time.Since(c.told) < tellEvery {
		return
	}
	c.phase, c.leg, c.told = s.Phase, s.Leg, time.Now()
	n := c.view.now(at, s, out, leak, detection)
	if c.disk != nil {
		n.UnsyncedMS = number(float64(c.disk().Milliseconds()))
	}
	c.hub.tell(newsNow, n)
}

func (c *Console) estimate(at time.Duration) (leak *analysis.Interval, detection *float64) {
	if l, ok := c.live.Leak(); ok {
		leak = &l
		c.so.leak(at, l)
	}
	if d, ok := c.live.DetectionLimit(); ok {
		detection = number(d)
	}
	return leak, detection
}

func (c *Console) event(at time.Duration, kind, text string) {
	if len(c.events) == mostEvents { // the record has them all
		c.events = append(c.events[:0:0], c.events[1:]...)
	}
	c.events = append(c.events[:len(c.events):len(c.events)], Event{at.Seconds(), kind, text})
}

// Operator gives what the operator wants of the next step.
func (c *Console) Operator() rig.Operator {
	c.mu.Lock()
	defer c.mu.Unlock()
	op := rig.Operator{Abort: c.ask.abort, Skip: c.ask.skip, Ready: c.ask.ready, Pause: c.ask.pause, Resume: c.ask.resume}
	if len(c.ask.notes) > 0 { // one a step
		op.Note, c.ask.notes = c.ask.notes[0], c.ask.notes[1:]
	}
	c.ask = asks{abort: c.ask.abort, notes: c.ask.notes} // an abort stays
	return op
}

// abort stops the run, whatever it is doing.
func (c *Console) abort() {
	c.mu.Lock()
	c.ask.abort = true
	stop := c.stop
	c.mu.Unlock()
	if stop != nil {
		stop()
	}
}

func (c *Console) pause() { c.set(func(a *asks) { a.pause = true }) }
func (c *Console) goOn()  { c.set(func(a *asks) { a.resume = true }) }
func (c *Console) skip()  { c.set(func(a *asks) { a.skip = true }) }
func (c *Console) ready() { c.set(func(a *asks) { a.ready = true }) }

const mostNotes = 32 // that wait for the next step

func (c *Console) note(text string) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.ask.notes) >= mostNotes {
		return fmt.Errorf("%d notes wait to be recorded already", mostNotes)
	}
	c.ask.notes = append(c.ask.notes, text)
	return nil
}

func (c *Console) set(do func(*asks)) {
	c.mu.Lock()
	do(&c.ask)
	c.mu.Unlock()
}

// NewConsole makes a console that no server owns, for a terminal.
func NewConsole() *Console { return &Console{hub: newHub(8)} }

// Abort stops the run, whatever it is doing. It is always taken, first.
func (c *Console) Abort() { c.abort() }

// Pause, Resume, Skip, Ready and Note are what an operator may ask for.
func (c *Console) Pause()                 { c.pause() }
func (c *Console) Resume()                { c.goOn() }
func (c *Console) Skip()                  { c.skip() }
func (c *Console) Ready()                 { c.ready() }
func (c *Console) Note(text string) error { return c.note(text) }

// Follow calls for each piece of news until done is closed: a *Ladder, a *Now or
// a []Event. Who is slow misses what was replaced.
func (c *Console) Follow(done <-chan struct{}, each func(any)) {
	v := c.hub.join()
	if v == nil {
		return
	}
	defer c.hub.leave(v)
	for {
		_ = v.take(func(kind string, data []byte) error {
			switch kind {
			case newsLadder:
				var l Ladder
				if json.Unmarshal(data, &l) == nil {
					each(&l)
				}
			case newsNow:
				var n Now
				if json.Unmarshal(data, &n) == nil {
					each(&n)
				}
			case newsEvent:
				var e []Event
				if json.Unmarshal(data, &e) == nil {
					each(e)
				}
			}
			return nil
		})
		select {
		case <-done:
			return
		case <-v.news:
		}
	}
}
