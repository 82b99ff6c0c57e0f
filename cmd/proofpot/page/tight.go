package page

import (
	"runtime/debug"
	"sync"
	"time"

	"proofpot/analysis"
	"proofpot/rig/record"
)

// tight is what a tight unit would have shown in the run under way: the record so
// far is analysed again and again beside the run, and never for more than a
// twentieth of the time.
type tight struct {
	mu    sync.Mutex
	of    string // folder
	curve []analysis.Point
	again time.Time
	busy  bool
}

const (
	tightEvery = 20 * time.Second
	tightShare = 20 // times as long as an analysis took, until the next
)

// curveOf gives the curve as it was last worked out, and sees to the next.
func (t *tight) curveOf(folder string) []analysis.Point {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.of != folder {
		t.of, t.curve, t.again = folder, nil, time.Time{}
	}
	if !t.busy && folder != "" && time.Now().After(t.again) {
		t.busy = true
		go t.work(folder)
	}
	return t.curve
}

func (t *tight) work(folder string) {
	started := time.Now()
	var curve []analysis.Point
	if r, err := record.Open(folder); err == nil {
		if res, err := analysis.Analyse(r.Run, r.Name, r); err == nil { // too little of it yet is no news
			curve = res.Curves.ChamberFittedPa
		}
		r.Close()
	}
	debug.FreeOSMemory() // what the analysis took is not kept for the next one
	t.mu.Lock()
	defer t.mu.Unlock()
	t.busy = false
	t.again = time.Now().Add(max(tightEvery, tightShare*time.Since(started)))
	if t.of == folder && curve != nil {
		t.curve = curve
	}
}
