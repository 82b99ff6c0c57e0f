package campaign

import (
	"errors"
	"io"
	"math"
	"sync"

	"proofpot/rig/record"
)

// file is a record that is read while it is written, and kept nowhere. Its disk
// may be full.
type file struct {
	mu   sync.Mutex
	pipe *io.PipeWriter
	n    int
	most int // bytes; 0: no end
	held chan held
}

// held is what a record holds.
type held struct {
	pressures int // of the chamber
	later     int // of them, from a moment on
	broken    string
}

var errFull = errors.New("no space left on device")

func newFile() *file {
	in, out := io.Pipe()
	f := &file{pipe: out, held: make(chan held, 1)}
	go func() { f.held <- content(in, math.MaxInt64) }()
	return f
}

func (f *file) Write(p []byte) (int, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	whole := len(p)
	if f.most > 0 {
		p = p[:min(len(p), max(0, f.most-f.n))]
	}
	n, err := f.pipe.Write(p)
	f.n += n
	if err == nil && n < whole {
		err = errFull
	}
	return n, err
}

// fill leaves so many bytes of the disk.
func (f *file) fill(left int) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.most = f.n + left
}
func (f *file) Sync() error  { return nil }
func (f *file) Close() error { return f.pipe.Close() }

// content reads a record to its end: how many chamber pressures it holds, and how
// many of them since a moment, ns since 1970.
func content(from io.Reader, since int64) (h held) {
	defer io.Copy(io.Discard, from) //nolint:errcheck // who writes must not be held up
	r := record.NewReader(from)
	var l record.Line
	for {
		err := r.Next(&l)
		if err == io.EOF {
			break
		}
		if err != nil {
			h.broken = "the record cannot be read: " + err.Error()
			return h
		}
		if l.Measurement == record.Chamber && !math.IsNaN(l.PressurePa) {
			h.pressures++
			if l.TimeNS >= since {
				h.later++
			}
		}
	}
	if i := r.Integrity(); i.Chained && !i.Intact {
		h.broken = "the record is not intact"
	}
	return h
}
