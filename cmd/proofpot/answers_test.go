package main

import (
	"io"
	"testing"
	"testing/synctest"

	"proofpot/rig"
)

func TestEnterCountsOnlyWhileSomethingIsAsked(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r, w := io.Pipe()
		var a answers
		go a.listen(r)
		enter := func() {
			if _, err := io.WriteString(w, "\n"); err != nil {
				t.Fatal(err)
			}
			synctest.Wait()
		}
		enter()
		a.prompt(rig.Wait)
		if a.ready() {
			t.Error("ready, and nothing was asked")
		}
		a.prompt(rig.CloseUp)
		if a.ready() {
			t.Error("an Enter from before the question counts")
		}
		enter()
		a.prompt(rig.CloseUp) // it is asked at each step
		if !a.ready() {
			t.Error("Enter does not count")
		}
		a.prompt(rig.PutIn)
		if a.ready() {
			t.Error("the answer to one question is taken for that to the next")
		}
		enter()
		a.prompt(rig.PumpUp)
		a.prompt(rig.PutIn)
		if a.ready() {
			t.Error("an answer is kept for the next time")
		}
		w.Close()
		synctest.Wait()
	})
}
