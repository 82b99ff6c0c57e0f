package page

import (
	"sync"
	"time"
)

// holder is the one client that commands: two people never steer one bench. It
// is let go of when its page has been gone for a while, and anyone who may
// command can take it over in sight of all.
type holder struct {
	mu     sync.Mutex
	client string
	name   string
	since  time.Time
	gone   time.Time      // when its last page closed, or it took the control without one
	open   map[string]int // pages by client
	now    func() time.Time
}

const letGoAfter = 30 * time.Second

// Holder is what others see of it.
type Holder struct {
	Client string `json:"client,omitempty"`
	Name   string `json:"name,omitempty"`
	Since  string `json:"since,omitempty"`
}

func (h *holder) seen() Holder {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.expire()
	if h.client == "" {
		return Holder{}
	}
	return Holder{h.client, h.name, h.since.UTC().Format(time.RFC3339)}
}

func (h *holder) expire() {
	if h.client != "" && h.open[h.client] == 0 && h.now().Sub(h.gone) > letGoAfter {
		h.client, h.name = "", ""
	}
}

// take gives the control to a client; false where another has it and it is not
// to be taken over.
func (h *holder) take(client, name string, over bool) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.expire()
	if h.client != "" && h.client != client && !over {
		return false
	}
	if h.client != client {
		h.client, h.since, h.gone = client, h.now(), h.now()
	}
	h.name = name
	return true
}

func (h *holder) give(client string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.client == client {
		h.client, h.name = "", ""
	}
}

func (h *holder) has(client string) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.expire()
	return client != "" && h.client == client
}

// page counts the open pages of a client.
func (h *holder) page(client string, by int) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if client == "" {
		return
	}
	if h.open[client] += by; h.open[client] <= 0 {
		delete(h.open, client)
		if h.client == client {
			h.gone = h.now()
		}
	}
}
