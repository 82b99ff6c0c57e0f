package forward

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"proofpot/rig/record"
)

// Forwarder sends records to one engine.
type Forwarder struct {
	Engine   *Engine
	State    string        // folder for what is remembered; below it one folder an engine
	Patience time.Duration // how long an outage may last before it is an error; 0: for ever
	Say      func(text string)

	// Wait waits between attempts; tests put their own here.
	Wait func(ctx context.Context, d time.Duration) error

	silent bool
	states map[string]*known
}

type known struct {
	*state
	file  string
	doubt bool // a connection broke since: what was acknowledged last may be lost
}

// Limits of a batch.
const (
	batchLines = 5000
	batchBytes = 1 << 20
	maxLine    = 1 << 20
	firstWait  = time.Second
	lastWait   = time.Minute
)

// Progress is what became of a record so far.
type Progress struct {
	Lines, Refused int64 // in all
	Now            int64 // lines of this call
}

// EngineError says that the engine takes nothing: it was away for longer than
// Patience, or it refuses and somebody must see to it.
type EngineError struct{ Text string }

func (e EngineError) Error() string { return e.Text }

// Record sends what is new in a record, up to its last whole line, and returns. It
// waits out outages. What was not acknowledged when ctx ends goes another time.
func (f *Forwarder) Record(ctx context.Context, folder string) (Progress, error) {
	r, err := record.Open(folder)
	if err != nil {
		return Progress{}, err
	}
	w := &rewriter{bench: r.Run.Bench.ID, unit: r.Run.Unit.ID}
	name := r.Name
	r.Close()
	k, err := f.known(name)
	if err != nil {
		return Progress{}, err
	}
	before := k.Acked.Lines
	for {
		if k.doubt {
			k.doubt = false
			k.back(time.Now())
		}
		err := error(nil)
		if !k.all(folder) {
			err = f.send(ctx, folder, k, w)
		}
		if err != nil || !k.doubt {
			return Progress{k.Acked.Lines, k.Acked.Refused, max(0, k.Acked.Lines-before)}, err
		}
	}
}

// Unsettled says whether a record must be looked at again although nothing was
// added to it: there was an outage soon after.
func (f *Forwarder) Unsettled(name string) bool {
	k := f.states[name]
	return k == nil || k.doubt
}

// broke is called when a connection breaks.
func (f *Forwarder) broke(now time.Time) {
	for _, k := range f.states {
		k.doubt = k.doubt || now.Sub(k.At) <= settleTime
	}
}

// all says whether all of a record's readings were sent, without opening them.
func (k *known) all(folder string) bool {
	if info, err := os.Stat(filepath.Join(folder, record.ReadingsFile)); err == nil {
		return info.Size() == k.Acked.Bytes && info.Size() > 0 && time.Since(info.ModTime()) > settleTime
	}
	info, err := os.Stat(filepath.Join(folder, record.CompressedFile))
	return err == nil && k.Acked.Packed != 0 && info.Size() == k.Acked.Packed
}

func (f *Forwarder) known(name string) (*known, error) {
	k := f.states[name]
	if k == nil {
		sum := sha256.Sum256([]byte(f.Engine.URL.String()))
		file := filepath.Join(f.State, "forward", hex.EncodeToString(sum[:8]), name+".json")
		s, err := loadState(file)
		if err != nil {
			return nil, err
		}
		k = &known{s, file, true} // whoever ran before may have seen an outage
		if f.states == nil {
			f.states = map[string]*known{}
		}
		f.states[name] = k
	}
	return k, nil
}

// send sends whole lines from the mark to the end of the readings.
func (f *Forwarder) send(ctx context.Context, folder string, k *known, w *rewriter) error {
	in, err := f.open(folder, k)
	if err != nil {
		return err
	}
	defer in.Close()
	lines := bufio.NewReaderSize(in, 64<<10)
	next := k.Acked.clone()
	var batch [][]byte
	size := 0
	flush := func() error {
		refused, err := f.deliver(ctx, k.file, batch)
		if err != nil {
			return err
		}
		next.Lines += int64(len(batch)) - refused
		next.Refused += refused
		k.acked(next.clone(), time.Now())
		batch, size = nil, 0
		return k.save(k.file)
	}
	for {
		raw, err := lines.ReadBytes('\n')
		if len(raw) > maxLine {
			return fmt.Errorf("%s: a line is longer than %d bytes: this is no record", folder, maxLine)
		}
		if err == io.EOF { // a last line without its end may still be growing
			break
		}
		if err != nil {
			return err
		}
		out, lerr := w.line(bytes.TrimRight(raw, "\r\n"), &next)
		next.Bytes += int64(len(raw))
		next.Last = lineSum(raw)
		switch {
		case errors.Is(lerr, errNotSent):
		case lerr != nil:
			next.Refused++
			if err := f.refuse(k.file, raw, lerr.Error()); err != nil {
				return err
			}
		default:
			batch = append(batch, out)
			size += len(out)
		}
		if len(batch) >= batchLines || size >= batchBytes {
			if err := flush(); err != nil {
				return err
			}
		}
	}
	if _, plain := in.(*os.File); !plain && next.Packed == 0 {
		info, err := os.Stat(filepath.Join(folder, record.CompressedFile))
		if err != nil {
			return err
		}
		next.Packed = info.Size()
	}
	if next.Bytes > k.Acked.Bytes || next.Packed != k.Acked.Packed {
		return flush()
	}
	return nil
}

// open opens the readings at the mark. Where the line before it is not the one that
// was sent, a power cut has taken what was never safe on the disk: all goes again.
func (f *Forwarder) open(folder string, k *known) (io.ReadCloser, error) {
	in, err := record.OpenReadings(folder)
	if err != nil || k.Acked.Bytes == 0 {
		return in, err
	}
	from := max(0, k.Acked.Bytes-maxLine)
	tail := make([]byte, k.Acked.Bytes-from)
	if file, ok := in.(*os.File); ok {
		_, err = file.Seek(from, io.SeekStart)
	} else {
		_, err = io.CopyN(io.Discard, in, from)
	}
	if err == nil {
		_, err = io.ReadFull(in, tail)
	}
	if err == nil && tail[len(tail)-1] == '\n' {
		line := tail[bytes.LastIndexByte(tail[:len(tail)-1], '\n')+1:]
		if lineSum(line) == k.Acked.Last {
			return in, nil
		}
	}
	in.Close()
	if err != nil && err != io.EOF && err != io.ErrUnexpectedEOF {
		return nil, err
	}
	k.Acked, k.Settled, k.recent = mark{}.clone(), mark{}.clone(), nil
	f.say(folder + " is not what was sent before: all of it goes again")
	return record.OpenReadings(folder)
}

// deliver sends lines until the engine has taken all that it will take, and says
// how many it refused.
func (f *Forwarder) deliver(ctx context.Context, file string, lines [][]byte) (refused int64, err error) {
	if len(lines) == 0 {
		return 0, nil
	}
	body := bytes.Join(lines, nil)
	wait, waited := firstWait, time.Duration(0)
	for {
		a := f.Engine.post(ctx, body)
		if ctx.Err() != nil {
			return 0, ctx.Err()
		}
		switch a.kind {
		case taken:
			if f.silent {
				f.silent = false
				f.say("the engine takes lines again")
			}
			return 0, nil
		case denied:
			return 0, EngineError{"the engine refuses: " + a.text}
		case split:
			if len(lines) == 1 {
				return 1, f.refuse(file, lines[0], a.text)
			}
			half := len(lines) / 2
			n, err := f.deliver(ctx, file, lines[:half])
			if err != nil {
				return 0, err
			}
			m, err := f.deliver(ctx, file, lines[half:])
			return n + m, err
		case gone:
			f.broke(time.Now())
		}
		pause := max(wait, a.wait)
		if f.Patience > 0 && waited+pause > f.Patience {
			return 0, EngineError{"the engine does not take anything: " + a.text + "; what is left goes another time"}
		}
		if !f.silent {
			f.silent = true
			f.say(fmt.Sprintf("the engine takes nothing (%s): trying again until it does", a.text))
		}
		if err := f.Wait(ctx, pause); err != nil {
			return 0, err
		}
		waited += pause
		wait = min(2*wait, lastWait)
	}
}

// refuse keeps a line that the engine will not have, with its reason, beside the mark.
func (f *Forwarder) refuse(file string, line []byte, why string) error {
	f.say(fmt.Sprintf("a line is refused and kept in %s.refused: %s", file, why))
	if err := os.MkdirAll(filepath.Dir(file), 0o777); err != nil {
		return err
	}
	out, err := os.OpenFile(file+".refused", os.O_WRONLY|os.O_APPEND|os.O_CREATE, 0o666)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(out, "# %s\n%s\n", why, bytes.TrimRight(line, "\r\n"))
	return errors.Join(err, out.Close())
}

func (f *Forwarder) say(text string) {
	if f.Say != nil {
		f.Say(text)
	}
}

// Sleep is a Wait by the real clock.
func Sleep(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}
