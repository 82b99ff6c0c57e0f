package page

import (
	"encoding/json"
	"sync"
)

// hub passes what happens to whoever watches. Of each kind of news a viewer that
// is slow gets the latest and misses what it replaced; the loop never waits for
// one.
type hub struct {
	mu      sync.Mutex
	viewers map[*viewer]bool
	latest  map[string][]byte // by kind, for who comes later
	most    int
}

// viewer is one open page.
type viewer struct {
	news    chan struct{} // holds one when something waits
	mu      sync.Mutex
	waiting map[string][]byte
	order   []string
}

func newHub(most int) *hub {
	return &hub{viewers: map[*viewer]bool{}, latest: map[string][]byte{}, most: most}
}

// join adds a viewer, who is told at once how things stand; nil where there are
// too many.
func (h *hub) join() *viewer {
	h.mu.Lock()
	defer h.mu.Unlock()
	if len(h.viewers) >= h.most {
		return nil
	}
	v := &viewer{news: make(chan struct{}, 1), waiting: map[string][]byte{}}
	h.viewers[v] = true
	for _, kind := range kinds {
		if data, ok := h.latest[kind]; ok {
			v.put(kind, data)
		}
	}
	return v
}

func (h *hub) leave(v *viewer) {
	h.mu.Lock()
	delete(h.viewers, v)
	h.mu.Unlock()
}

func (h *hub) count() int {
	h.mu.Lock()
	defer h.mu.Unlock()
	return len(h.viewers)
}

// The kinds of news, in the order in which a viewer needs them.
const (
	newsState  = "state"  // idle, before a run, running, ended; who holds the control
	newsLadder = "ladder" // what lies ahead
	newsChecks = "checks" // the list before a run
	newsNow    = "now"    // what is read and done
	newsEvent  = "event"  // notes and faults, all of this run so far
	newsEnd    = "end"    // how the last run ended
)

var kinds = []string{newsState, newsLadder, newsChecks, newsNow, newsEvent, newsEnd}

// tell sends news to everybody.
func (h *hub) tell(kind string, what any) {
	data, err := json.Marshal(what)
	if err != nil {
		data, _ = json.Marshal(map[string]string{"error": err.Error()})
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.latest[kind] = data
	for v := range h.viewers {
		v.put(kind, data)
	}
}

// forget takes back news that no longer holds.
func (h *hub) forget(kind string) {
	h.mu.Lock()
	delete(h.latest, kind)
	h.mu.Unlock()
}

func (v *viewer) put(kind string, data []byte) {
	v.mu.Lock()
	if _, there := v.waiting[kind]; !there {
		v.order = append(v.order, kind)
	}
	v.waiting[kind] = data
	v.mu.Unlock()
	select {
	case v.news <- struct{}{}:
	default:
	}
}

// take gives what waits, in order.
func (v *viewer) take(each func(kind string, data []byte) error) error {
	v.mu.Lock()
	order, waiting := v.order, v.waiting
	v.order, v.waiting = nil, map[string][]byte{}
	v.mu.Unlock()
	for _, kind := range order {
		if err := each(kind, waiting[kind]); err != nil {
			return err
		}
	}
	return nil
}
