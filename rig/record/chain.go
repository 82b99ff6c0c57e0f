package record

import (
	"crypto/sha256"
	"encoding/hex"
	"hash"
	"slices"
)

// chainCheck recomputes the chain of a record, buffer by buffer, in a goroutine
// beside the one that reads lines. One buffer is under way at a time.
type chainCheck struct {
	sum     hash.Hash
	done    chan struct{} // the last buffer's goroutine says that it has ended
	busy    bool
	links   []link // chain lines of the buffer that is being read
	checked []link // of the one that is being hashed
	bad     []int64
	out     [sha256.Size]byte
	hex     [2 * sha256.Size]byte
}

// link is a chain line in a buffer.
type link struct {
	start, end int // of the chain line; what was hashed goes to start
	line       int64
	ok         bool // its count of lines agrees
	sha        string
}

func newChainCheck() *chainCheck {
	return &chainCheck{sum: sha256.New(), done: make(chan struct{}, 1)}
}

// wait waits for the buffer under way and gives the lines of chain lines that
// do not agree.
func (c *chainCheck) wait() []int64 {
	if c.busy {
		<-c.done
		c.busy = false
	}
	return c.bad
}

// hash takes the whole lines of a buffer, which must stay until wait.
func (c *chainCheck) hash(b []byte) {
	c.wait()
	c.links, c.checked = c.checked[:0], c.links
	c.busy = true
	go c.run(b)
}

func (c *chainCheck) run(b []byte) {
	from := 0
	for i := range c.checked {
		k := &c.checked[i]
		c.sum.Write(b[from:k.start])
		c.sum.Sum(c.out[:0])
		hex.Encode(c.hex[:], c.out[:])
		if k.ok && string(c.hex[:]) != k.sha && len(c.bad) < keepProblems {
			c.bad = append(c.bad, k.line)
		}
		c.sum.Reset()
		c.sum.Write([]byte(k.sha)) // go on from what the file says: one bad block is one problem
		from = k.end
	}
	c.sum.Write(b[from:])
	c.done <- struct{}{}
}

// sorted puts problems in the order of their lines.
func sorted(ps []Problem) []Problem {
	slices.SortStableFunc(ps, func(a, b Problem) int { return int(a.Line - b.Line) })
	return ps
}
