package serialline

import (
	"sync"
	"time"
)

// The kinds of what the reading goroutine hands over.
type kind uint8

const (
	aLine   kind = iota // a whole line
	tooLong             // the start of a line that never ended
	gone                // the port is gone; the text says how
	back                // bytes come again after gone
)

// event is a line or a change of the port, with the time of its arrival.
type event struct {
	kind kind
	at   time.Duration
	text []byte
}

// queue hands events from the reading goroutine to Read. It never grows beyond
// its length: where lines come faster than they are read, the oldest give way,
// since the newest are the ones that protect the bench, and they are counted. A
// gone or back that gives way takes its news along; the next one tells it. The
// buffers are used again, so that a steady stream allocates nothing.
type queue struct {
	mu    sync.Mutex
	ring  []event
	first int
	count int
	lost  int
}

func newQueue(length int) *queue { return &queue{ring: make([]event, length)} }

func (q *queue) put(k kind, at time.Duration, text []byte) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.count == len(q.ring) {
		q.first = (q.first + 1) % len(q.ring)
		q.count--
		q.lost++
	}
	e := &q.ring[(q.first+q.count)%len(q.ring)]
	e.kind, e.at, e.text = k, at, append(e.text[:0], text...)
	q.count++
}

// take moves the oldest event that arrived at or before now into e, whose
// buffer it uses.
func (q *queue) take(now time.Duration, e *event) bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.count == 0 || q.ring[q.first].at > now {
		return false
	}
	oldest := &q.ring[q.first]
	e.kind, e.at, e.text = oldest.kind, oldest.at, append(e.text[:0], oldest.text...)
	q.first = (q.first + 1) % len(q.ring)
	q.count--
	return true
}

// losses gives how many events gave way since the last call.
func (q *queue) losses() int {
	q.mu.Lock()
	defer q.mu.Unlock()
	n := q.lost
	q.lost = 0
	return n
}
