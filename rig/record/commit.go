package record

import (
	"fmt"
	"sync"
	"time"
)

// Limits of the way to the disk. A stick or a card can take seconds for one
// sync; the bench does not wait for it.
const (
	// commitDelay is how long a line waits for company: with it, and a disk that
	// syncs within as long again, no reading is older than a second when it is safe.
	commitDelay = 500 * time.Millisecond
	// bigBatch goes to the disk without waiting.
	bigBatch = 1 << 20
	// maxQueue, bytes: more than that waits for the disk and the run must end. It
	// is an hour at ten readings a second. Nothing is ever left out: a run that ends
	// vents for half an hour at most, which is what the memory must hold beyond.
	maxQueue = 8 << 20
	// lateAfter: a disk that has not taken a line for so long has failed.
	lateAfter = 30 * time.Second
)

// committer carries lines to the file: one write and one sync a batch, in a
// goroutine of its own. While a batch is under way no other is written, so that
// a power cut can hurt only lines that were never acknowledged.
type committer struct {
	file File
	wake chan struct{}
	done chan struct{}

	mu      sync.Mutex
	room    *sync.Cond // the queue has become shorter
	pending []byte     // handed over and not yet taken
	first   time.Time  // when the oldest byte of pending was handed over
	taken   int        // bytes of the batch under way
	oldest  time.Time  // when its oldest byte was handed over
	urgent  bool
	closing bool
	err     error
	synced  int64 // bytes that are on the disk
}

func newCommitter(file File) *committer {
	c := &committer{file: file, wake: make(chan struct{}, 1), done: make(chan struct{})}
	c.room = sync.NewCond(&c.mu)
	go c.run()
	return c
}

// put hands lines over. With wait it waits while the queue is full, which is
// for benches whose time can stand still.
func (c *committer) put(b []byte, urgent, wait bool) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	for wait && c.err == nil && c.taken+len(c.pending)+len(b) > maxQueue && c.taken+len(c.pending) > 0 {
		c.room.Wait()
	}
	if len(b) > 0 {
		if len(c.pending) == 0 {
			c.first = time.Now()
		}
		c.pending = append(c.pending, b...)
	}
	c.urgent = c.urgent || urgent
	select {
	case c.wake <- struct{}{}:
	default:
	}
	return c.state()
}

// state is called with mu held. A disk that is late, by time or by bytes, is an
// error now, and none any more once it has caught up; every other error stays.
func (c *committer) state() error {
	if c.err != nil {
		return c.err
	}
	if n := c.taken + len(c.pending); n > maxQueue {
		return fmt.Errorf("the record cannot be written fast enough: %d bytes wait for the disk", n)
	}
	if d := c.unsynced(); d > lateAfter {
		return fmt.Errorf("the record is not on the disk: it has not answered for %s", d.Round(time.Second))
	}
	return nil
}

func (c *committer) unsynced() time.Duration {
	switch {
	case c.taken > 0:
		return time.Since(c.oldest)
	case len(c.pending) > 0:
		return time.Since(c.first)
	}
	return 0
}

// run takes batches to the disk until the committer is closed.
func (c *committer) run() {
	defer close(c.done)
	var batch []byte      // what the disk refused at the last attempt, then the batch under way
	var refused time.Time // when it did
	timer := time.NewTimer(time.Hour)
	defer timer.Stop()
	for {
		c.mu.Lock()
		closing, again := c.closing, len(batch) > 0
		waiting := len(c.pending) > 0
		var in time.Duration // until there is something to do
		switch {
		case closing:
		case again:
			in = commitDelay - time.Since(refused)
		case waiting && !c.urgent && len(c.pending) < bigBatch:
			in = commitDelay - time.Since(c.first)
		}
		due := (again || waiting) && in <= 0
		if due {
			if !again {
				c.oldest = c.first
			}
			batch, c.pending = append(batch, c.pending...), c.pending[:0]
			c.taken, c.urgent = len(batch), false
		}
		c.mu.Unlock()
		if due {
			if batch = c.commit(batch); len(batch) > 0 {
				refused = time.Now()
			}
		}
		if closing {
			return
		}
		if due {
			continue
		}
		if again || waiting {
			timer.Reset(in)
		}
		select {
		case <-c.wake:
		case <-timer.C:
		}
	}
}

// commit writes and syncs a batch. What could not be written is returned, to be
// tried again from the byte where the disk stopped: a full disk may get room.
// After a sync that failed nothing is acknowledged any more, since nobody knows
// what the kernel has dropped; lines are written all the same.
func (c *committer) commit(batch []byte) []byte {
	n, err := c.file.Write(batch)
	n = max(0, min(n, len(batch)))
	if err == nil && n < len(batch) {
		err = fmt.Errorf("wrote %d of %d bytes", n, len(batch))
	}
	if err != nil {
		err = fmt.Errorf("the record cannot be written: %w", err)
	}
	rest := batch[:copy(batch, batch[n:])]
	if n > 0 {
		if serr := c.file.Sync(); serr != nil && err == nil {
			err = fmt.Errorf("the record cannot be put on the disk: %w", serr)
		}
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.err == nil {
		c.err = err
	}
	if c.err == nil {
		c.synced += int64(n)
	}
	c.taken = len(rest)
	c.room.Broadcast()
	return rest
}

// close takes the rest to the disk and closes the file.
func (c *committer) close() error {
	c.mu.Lock()
	closed := c.closing
	c.closing = true
	c.mu.Unlock()
	if closed {
		<-c.done
		return c.err
	}
	select {
	case c.wake <- struct{}{}:
	default:
	}
	<-c.done
	if err := c.file.Close(); err != nil && c.err == nil {
		c.err = fmt.Errorf("the record cannot be closed: %w", err)
	}
	return c.err
}
