package main

import (
	"os"
	"sync/atomic"
	"time"

	"proofpot/rig/watchdog"
)

// alive tells the service manager that the page's process lives: while nothing
// runs by itself, and during a run only while the loop goes on.
type alive struct {
	service *watchdog.Service
	last    atomic.Int64 // when the loop last went on, ns since 1970; 0: nothing runs
}

// hung is how long a loop may stand still before the manager hears no more of it.
const hung = 10 * time.Second

// openAlive says that the service is ready, where a manager has started it. The
// benches opened later leave the manager alone: one process, one voice.
func openAlive() (*alive, error) {
	s, err := watchdog.OpenService(os.Getenv, os.Getpid())
	if err != nil || s == nil {
		return nil, err
	}
	return &alive{service: s}, os.Unsetenv("NOTIFY_SOCKET")
}

// tick gives the sign when it is due.
func (a *alive) tick(now time.Time) error {
	if last := a.last.Load(); last != 0 && now.Sub(time.Unix(0, last)) > hung {
		return nil
	}
	return a.service.Alive(now)
}

// step is a step of the loop; end says that nothing runs any more.
func (a *alive) step(now time.Time) {
	if a != nil {
		a.last.Store(now.UnixNano())
	}
}

func (a *alive) end() {
	if a != nil {
		a.last.Store(0)
	}
}

// goOn gives signs until it is told to stop.
func (a *alive) goOn(stop <-chan struct{}) {
	if a == nil {
		return
	}
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for {
		select {
		case <-stop:
			_ = a.service.Close() // the manager sees the end all the same
			return
		case now := <-tick.C:
			_ = a.tick(now) // it is tried again in a second; a manager that hears nothing starts this anew
		}
	}
}
