package main

import (
	"bufio"
	"io"
	"sync/atomic"

	"proofpot/rig"
)

// answers listens for what a person says when he was asked to do something to
// the unit and the run waits for him: Enter. What he types while nothing is asked
// counts for nothing.
type answers struct {
	asked atomic.Uint32 // the rig.PromptKind that wants an answer now, or rig.NoPrompt
	said  atomic.Bool

	typing typing // what is typed of gauges, whatever is asked
}

// listen reads lines until there are no more.
func (a *answers) listen(r io.Reader) {
	lines := bufio.NewScanner(r)
	for lines.Scan() {
		if a.typing.line(lines.Text()) {
			continue
		}
		if a.asked.Load() != uint32(rig.NoPrompt) {
			a.said.Store(true)
		}
	}
}

// prompt takes over what is asked now.
func (a *answers) prompt(k rig.PromptKind) {
	if !k.WantsAnswer() {
		k = rig.NoPrompt
	}
	if uint32(k) != a.asked.Load() { // an answer is to one question
		a.said.Store(false)
		a.asked.Store(uint32(k))
	}
}

// ready tells whether it was answered since it was last asked for.
func (a *answers) ready() bool { return a.asked.Load() != uint32(rig.NoPrompt) && a.said.Swap(false) }
