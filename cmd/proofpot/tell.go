package main

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"time"

	"proofpot/analysis"
	"proofpot/cmd/proofpot/notice"
	"proofpot/rig"
	"proofpot/rig/setup"
)

// teller sends the notices of one run. Nil tells nobody.
type teller struct {
	notices []setup.Notice
	about   notice.Event
	w       *world
	sending sync.WaitGroup
	tripped bool
}

// newTeller prepares the notices of a bench file for a run; nil where it has none.
func newTeller(w *world, notices []setup.Notice, run setup.Run) *teller {
	if len(notices) == 0 {
		return nil
	}
	return &teller{notices: notices, w: w, about: notice.Event{Bench: run.Bench.ID, Unit: run.Unit.ID, Profile: run.Profile.Name}}
}

// tellerAgain prepares the notices of a run that goes on. A bench file that
// cannot be read any more is said, and keeps no run from going on.
func tellerAgain(w *world, file string, run setup.Run) *teller {
	if file == "" {
		return nil
	}
	bench, err := setup.LoadBench(file)
	if err != nil {
		fmt.Fprintf(w.errs, "proofpot: nobody will be told how the run ends: %v\n", err)
		return nil
	}
	return newTeller(w, bench.Notices, run)
}

// step sees how the run stands, and tells of a trip as soon as it happens; the
// loop does not wait for it.
func (t *teller) step(s *rig.State) {
	if t == nil || t.tripped || s.Stopped == rig.NotStopped || !trips(s.Stopped) {
		return
	}
	t.tripped = true
	t.send("trip", s.Stopped.String(), "", nil)
}

// end tells what came of the run, and waits until it was sent or could not be.
func (t *teller) end(folder string, res *analysis.Result) {
	if t == nil {
		return
	}
	v := &res.Verdict
	text := v.Verdict
	if len(v.Reasons) > 0 {
		text += ": " + strings.Join(v.Reasons, "; ")
	}
	t.send("end", text, folder, v)
	if v.Verdict != analysis.Pass {
		t.send("failure", text, folder, v)
	}
	t.sending.Wait()
}

func (t *teller) send(what, text, folder string, v *analysis.Verdict) {
	e := t.about
	e.What, e.Text, e.Record, e.At = what, text, folder, time.Now().UTC().Format(time.RFC3339)
	if v != nil {
		e.Verdict, e.RatedM = v.Verdict, v.RatedDepthM
	}
	t.sending.Go(func() {
		if err := notice.Send(context.Background(), t.notices, e); err != nil {
			for line := range strings.Lines(err.Error()) {
				fmt.Fprintf(t.w.errs, "proofpot: %s\n", strings.TrimSpace(line))
			}
		}
	})
}
