package page

import (
	"context"
	"errors"
	"sync"
	"time"
)

// State is what the bench's page is at.
type State struct {
	What    string `json:"what"` // idle, preflight, running
	Holder  Holder `json:"holder"`
	Viewers int    `json:"viewers"`
	Record  string `json:"record,omitempty"` // of the run under way
}

// What it can be at.
const (
	idle      = "idle"
	preflight = "preflight"
	running   = "running"
)

// work is the one thing the bench does at a time.
type work struct {
	hub    *hub
	holder *holder
	bench  Bench

	mu      sync.Mutex
	what    string
	console *Console
	last    *Console // of the run before, whose pictures stay
	ended   sync.WaitGroup
	base    context.Context // ends with the server: the run is aborted then
}

var errBusy = errors.New("the bench is busy already")

func (k *work) state() State {
	k.mu.Lock()
	what := k.what
	k.mu.Unlock()
	return State{What: what, Holder: k.holder.seen(), Viewers: k.hub.count()}
}

func (k *work) tell() { k.hub.tell(newsState, k.state()) }

// begin starts something in its own goroutine.
func (k *work) begin(what string, do func(ctx context.Context, on *Console)) error {
	k.mu.Lock()
	if k.what != idle {
		k.mu.Unlock()
		return errBusy
	}
	ctx, stop := context.WithCancel(k.base)
	on := &Console{hub: k.hub, stop: stop}
	k.what, k.console = what, on
	k.ended.Add(1)
	k.mu.Unlock()
	k.hub.forget(newsEnd)
	k.tell()
	go func() {
		defer k.ended.Done()
		defer stop()
		do(ctx, on)
		k.mu.Lock()
		k.what, k.console = idle, nil
		if what == running {
			k.last = on
		}
		k.mu.Unlock()
		k.tell()
	}()
	return nil
}

func (k *work) preflight(c Choice) error {
	return k.begin(preflight, func(ctx context.Context, on *Console) {
		checks, err := k.bench.Preflight(ctx, c, on)
		on.Checks(checks)
		if err != nil {
			k.hub.tell(newsEnd, Outcome{Error: err.Error()})
		}
	})
}

func (k *work) run(c Choice) error {
	return k.begin(running, func(ctx context.Context, on *Console) {
		out, err := k.bench.Run(ctx, c, on)
		if err != nil {
			out.Error = err.Error()
		}
		k.hub.tell(newsEnd, out)
	})
}

func (k *work) resume(name string) error {
	return k.goOn(func(ctx context.Context, on *Console) (Outcome, error) { return k.bench.Resume(ctx, name, on) })
}

func (k *work) goOn(do func(context.Context, *Console) (Outcome, error)) error {
	return k.begin(running, func(ctx context.Context, on *Console) {
		out, err := do(ctx, on)
		if err != nil {
			out.Error = err.Error()
		}
		k.hub.tell(newsEnd, out)
	})
}

// now is the console of the run under way, or nil.
func (k *work) now() *Console {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.console
}

// shown is the console whose pictures are asked for: of now, or of the run before.
func (k *work) shown() *Console {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.console != nil && k.what == running {
		return k.console
	}
	return k.last
}

// watch tells who holds the control as that changes with time.
func (k *work) watch(ctx context.Context) {
	tick := time.NewTicker(2 * time.Second)
	defer tick.Stop()
	was := k.state()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		if is := k.state(); is != was {
			was = is
			k.hub.tell(newsState, is)
		}
	}
}
