package record

import (
	"crypto/sha256"
	"encoding/hex"
	"hash"
	"math"
	"time"

	"proofpot/sensors"
)

// File is where a Writer puts its lines. Write appends, Sync returns when what
// was written is on the disk.
type File interface {
	Write(p []byte) (int, error)
	Sync() error
	Close() error
}

const (
	blockLines = 4096
	blockTime  = 10 * time.Second
)

// Writer writes readings.lp. Lines gather until Flush, which hands them to a
// goroutine that appends and syncs them in batches: at once where a stage, a
// fault or an event of the run is among them, within a second otherwise. The
// first error sticks, but for a disk that is only late, and is what the run is
// told; what can be written is written all the same.
type Writer struct {
	// Wait lets Flush wait for a disk that does not keep up. It is for benches
	// whose time can stand still; a real bench must not wait: there too much
	// that waits is an error, which ends the run, and is kept all the same.
	Wait bool
	// OnLine sees each line that was added, but chain lines. It must not keep it. May be nil.
	OnLine func(*Line)

	out    *committer
	start  time.Time     // wall clock at the start of the run, or where it goes on
	since  time.Duration // of that, from the moment that times are given from
	enc    *encoder
	line   Line
	err    error // a line that could not be put into words
	urgent bool  // a line that must be on the disk at once has gathered

	lastNS  int64
	sum     hash.Hash
	hashed  int   // bytes of the encoder's buffer that are in sum
	block   int64 // lines since the last chain line
	blockNS int64 // time of the block's first line
	lines   int64
	hexSum  [2 * sha256.Size]byte
}

// NewWriter starts a record of a run that began at start by the wall clock.
// Each line is stamped with start plus the time since, by the clock that never
// jumps, so that a wall clock set during the run does not tear the record.
func NewWriter(file File, start time.Time) *Writer {
	return &Writer{out: newCommitter(file), start: start, enc: newEncoder(), sum: sha256.New(), lastNS: math.MinInt64}
}

// Since lets times that are given from here on count from the start of a run
// that goes on; mono_ns counts from where its record was opened again.
func (w *Writer) Since(start time.Time) { w.since = w.start.Sub(start) }

// Lines says how many lines were written, chain lines too.
func (w *Writer) Lines() int64 { return w.lines }

// Err gives the first error, which sticks.
func (w *Writer) Err() error {
	if w.err != nil {
		return w.err
	}
	w.out.mu.Lock()
	defer w.out.mu.Unlock()
	return w.out.state()
}

// stamp gives the line's time; a reading that arrived between two steps and was
// handed over late keeps the order of the file.
func (w *Writer) stamp(mono time.Duration) int64 {
	return max(w.start.Add(mono-w.since).UnixNano(), w.lastNS)
}

func (w *Writer) add(mono time.Duration) {
	ns := w.stamp(mono)
	if w.block > 0 && (w.block >= blockLines || ns-w.blockNS >= int64(blockTime)) {
		w.closeBlock()
	}
	w.line.TimeNS = ns
	if err := w.enc.line(&w.line); err != nil {
		first := w.err == nil
		if first { // said once in the record too; a fault line can always be written
			w.err = err
			w.Fault(mono, "", "", "not-recorded", err.Error())
		}
		return
	}
	if w.block == 0 {
		w.blockNS = ns
	}
	w.lastNS = ns
	w.block++
	w.lines++
	switch w.line.Measurement {
	case Stage, Fault, RunEvent:
		w.urgent = true
	}
	if w.OnLine != nil {
		w.OnLine(&w.line)
	}
}

// closeBlock writes the chain line over the lines since the last one.
func (w *Writer) closeBlock() {
	if w.block == 0 {
		return
	}
	w.hashPending()
	var sum [sha256.Size]byte
	w.sum.Sum(sum[:0])
	hex.Encode(w.hexSum[:], sum[:])
	var l Line
	l.Clear()
	l.Measurement, l.TimeNS, l.Lines, l.SHA256 = Chain, w.lastNS, w.block, string(w.hexSum[:])
	l.MonoNS = w.lastNS - w.start.UnixNano()
	if err := w.enc.line(&l); err != nil {
		w.err = err
		return
	}
	w.hashed = len(w.enc.buf) // the chain line itself is in no block
	w.sum.Reset()
	w.sum.Write(w.hexSum[:])
	w.block = 0
	w.lines++
}

func (w *Writer) hashPending() {
	b := w.enc.buf
	w.sum.Write(b[w.hashed:])
	w.hashed = len(b)
}

// Readings adds what the sensors said. Values that one device read at one
// moment share a line; readings without a value become faults, and the news that
// one is over a note.
func (w *Writer) Readings(rs []sensors.Reading) {
	for i := 0; i < len(rs); {
		r := &rs[i]
		if r.Status == sensors.Recovered {
			w.Note(r.At, r.Text)
			i++
			continue
		}
		if r.Status != sensors.OK {
			w.Fault(r.At, r.Sensor, "", r.Status.String(), r.Text)
			i++
			continue
		}
		w.line.Clear()
		w.line.Measurement, w.line.Sensor = place(r.Quantity), r.Sensor
		put(&w.line, r)
		taken := uint64(1) << r.Quantity
		for i++; i < len(rs); i++ {
			s := &rs[i]
			if s.Status != sensors.OK || s.At != r.At || s.Sensor != r.Sensor || place(s.Quantity) != w.line.Measurement || w.line.Measurement == Switch ||
				taken&(1<<s.Quantity) != 0 || s.HasRaw && !math.IsNaN(w.line.Raw) {
				break // a second value has a line of its own
			}
			put(&w.line, s)
			taken |= 1 << s.Quantity
		}
		w.add(r.At)
	}
}

// Valve adds the position of a valve.
func (w *Writer) Valve(at time.Duration, valve string, open bool) {
	w.line.Clear()
	w.line.Measurement, w.line.Valve, w.line.Open, w.line.HasOpen = Valve, valve, open, true
	w.add(at)
}

// Setpoint adds the pressure wanted, Pa absolute.
func (w *Writer) Setpoint(at time.Duration, pressurePa float64) {
	w.line.Clear()
	w.line.Measurement, w.line.PressurePa = Setpoint, pressurePa
	w.add(at)
}

// Stage adds the start of a ramp, settle, hold or vent: its kind, number, name,
// depth in m and target in Pa absolute.
func (w *Writer) Stage(at time.Duration, kind string, index int, name string, depthM, pressurePa float64) {
	w.line.Clear()
	l := &w.line
	l.Measurement, l.Kind, l.Index, l.Name, l.DepthM, l.PressurePa = Stage, kind, index, name, depthM, pressurePa
	w.add(at)
}

// Fault adds what went wrong with a sensor or a valve.
func (w *Writer) Fault(at time.Duration, sensor, valve, kind, text string) {
	w.line.Clear()
	l := &w.line
	l.Measurement, l.Sensor, l.Valve, l.Kind, l.Text = Fault, sensor, valve, kind, text
	if text == "" {
		l.Text = kind
	}
	w.add(at)
}

// Note adds what a person or the rig remarks.
func (w *Writer) Note(at time.Duration, text string) {
	w.line.Clear()
	w.line.Measurement, w.line.Text = Note, text
	w.add(at)
}

// Run adds the start, resume, abort or end of the run.
func (w *Writer) Run(at time.Duration, event, text string) {
	w.line.Clear()
	l := &w.line
	l.Measurement, l.Event, l.Text, l.MonoNS = RunEvent, event, text, int64(at-w.since)
	if text == "" {
		l.Text = event
	}
	w.add(at)
}

// Flush hands to the disk what has gathered, without waiting for it, and closes
// the block first when it is due at time at. It returns what has gone wrong so
// far: an error of the disk comes with a later Flush than the lines it hit.
func (w *Writer) Flush(at time.Duration) error {
	if w.block > 0 && w.stamp(at)-w.blockNS >= int64(blockTime) {
		w.closeBlock()
	}
	return w.handOver(w.urgent)
}

// Sync is Flush that asks for the disk at once. It does not wait for it either:
// see Unsynced, and Close.
func (w *Writer) Sync() error { return w.handOver(true) }

func (w *Writer) handOver(urgent bool) error {
	w.hashPending()
	b := w.enc.buf
	err := w.out.put(b, urgent, w.Wait)
	w.enc.buf = b[:0]
	w.hashed, w.urgent = 0, false
	if w.err != nil {
		return w.err
	}
	return err
}

// Unsynced says for how long the oldest line that is not yet on the disk has
// been waiting, by the real clock; 0 when all are there.
func (w *Writer) Unsynced() time.Duration {
	w.out.mu.Lock()
	defer w.out.mu.Unlock()
	return w.out.unsynced()
}

// Synced says how many bytes are on the disk for certain.
func (w *Writer) Synced() int64 {
	w.out.mu.Lock()
	defer w.out.mu.Unlock()
	return w.out.synced
}

// Close closes the last block, takes everything to the disk, waits for it and
// closes the file.
func (w *Writer) Close() error {
	w.closeBlock()
	w.handOver(true)
	err := w.out.close()
	if w.err != nil {
		return w.err
	}
	return err
}
