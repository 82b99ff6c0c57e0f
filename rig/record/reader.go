package record

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"
)

// errEmpty marks a blank line or a comment, which line protocol allows.
var errEmpty = errors.New("no entry in the line")

// maxLine bounds a line; format 1 writes lines of a few hundred bytes.
const maxLine = 1 << 20

// Problem is one thing that is wrong with a record.
type Problem struct {
	Line int64 // from 1
	Text string
}

// String gives the problem with its line.
func (p Problem) String() string { return fmt.Sprintf("line %d: %s", p.Line, p.Text) }

// Integrity says whether a record is whole. It is complete once Next has
// returned io.EOF.
type Integrity struct {
	Chained   bool      // the record has chain lines
	Intact    bool      // nothing is wrong: every chain line agrees, every line can be read, time goes forward
	Lines     int64     // lines in the file, chain lines too
	Unchained int64     // lines after the last chain line, as a power cut leaves them
	TornBytes int       // bytes of a last line without its end, as a power cut leaves it
	Problems  []Problem // the first few
	Count     int       // how many problems there are
}

const keepProblems = 20

// Reader streams the lines of a record in constant memory.
type Reader struct {
	// KeepOthers gives lines of other measurements too, as Other with their time.
	KeepOthers bool

	src    io.Reader
	buf    []byte // with shapeMargin bytes behind what may be filled
	other  []byte // the buffer before, which may be under the hash
	at     int    // start of the next line in buf
	end    int    // end of what has been read
	base   int64  // where buf begins in the file
	done   bool
	dec    *decoder
	shapes shapes
	chain  *chainCheck // nil where the chain is not asked for

	in        Integrity
	unit      TimeUnit
	lastNS    int64
	sinceMark int64
	lineAt    int   // where the line begins that was given last
	good      int64 // lines that were read
	unended   bool  // the last line has no newline
}

const bufferSize = 256 << 10

// NewReader reads lines of readings.lp from src and checks their chain.
func NewReader(src io.Reader) *Reader {
	r := NewUncheckedReader(src)
	r.chain = newChainCheck()
	return r
}

// NewUncheckedReader reads lines without recomputing the chain's sums; all else
// is checked.
func NewUncheckedReader(src io.Reader) *Reader {
	return &Reader{src: src, buf: make([]byte, bufferSize+shapeMargin), other: make([]byte, bufferSize+shapeMargin),
		dec: newDecoder(), in: Integrity{Intact: true}}
}

// Integrity says what Next has found so far. Its result is its caller's.
func (r *Reader) Integrity() Integrity {
	in := r.in
	in.Problems = slices.Clone(in.Problems)
	in.Unchained = 0
	if in.Chained {
		in.Unchained = r.sinceMark
	}
	if r.chain == nil {
		return in
	}
	for _, line := range r.chain.wait() {
		in.Intact = false
		in.Count++
		in.Problems = append(in.Problems, Problem{line, "the block that ends here was altered: its sha256 is not the chain's"})
	}
	in.Problems = sorted(in.Problems)
	in.Problems = in.Problems[:min(len(in.Problems), keepProblems)]
	return in
}

// TimeUnit says what the record's time stamps count, 0 where no line has said it.
func (r *Reader) TimeUnit() TimeUnit { return r.unit }

// Offset says where in the file the line ends that Next gave last.
func (r *Reader) Offset() int64 { return r.base + int64(r.at) }

func (r *Reader) problem(format string, args ...any) {
	r.in.Intact = false
	r.in.Count++
	if len(r.in.Problems) < keepProblems {
		r.in.Problems = append(r.in.Problems, Problem{r.in.Lines, fmt.Sprintf(format, args...)})
	}
}

// Next fills l with the next line of format 1. Lines that cannot be read are
// passed over and reported by Integrity; so are lines of other measurements,
// which are no problem. At the end it returns io.EOF, or an error that says
// that the file is no record at all.
func (r *Reader) Next(l *Line) error {
	if n := r.shapes.match(r.buf[r.at:], l); n > 0 && r.at+n <= r.end && l.TimeNS >= r.lastNS {
		r.lineAt = r.at
		r.at += n
		r.in.Lines++
		r.good++
		r.sinceMark++
		l.Number = int(r.in.Lines)
		r.lastNS = l.TimeNS
		return nil
	}
	return r.nextSlow(l)
}

func (r *Reader) nextSlow(l *Line) error {
	for {
		line, err := r.line()
		if err != nil {
			if err == io.EOF && r.good == 0 && r.in.Count > 0 {
				return fmt.Errorf("no line of it is a reading: %s", r.in.Problems[0])
			}
			return err
		}
		r.in.Lines++
		known := !r.unended && r.shapes.match(r.buf[r.lineAt:], l) == r.at-r.lineAt // it lay across two buffers
		plain := false
		if !known {
			l.Clear()
			plain, err = r.dec.decode(line, l)
		}
		if err == nil {
			l.TimeNS, err = r.unit.NS(l.TimeNS)
		}
		if err != nil {
			if err != errEmpty {
				r.problem("%v", err)
			}
			r.sinceMark++
			continue
		}
		r.good++
		l.Number = int(r.in.Lines)
		if l.TimeNS < r.lastNS {
			r.problem("time goes back by %s", time.Duration(r.lastNS-l.TimeNS))
		} else {
			r.lastNS = l.TimeNS
		}
		if l.Measurement == Chain {
			r.link(l)
			return nil
		}
		r.sinceMark++
		if plain && !r.unended && r.unit == 1 { // never a known one
			r.shapes.learn(line, l)
		}
		if l.Measurement != Other || r.KeepOthers {
			return nil
		}
	}
}

// link checks a chain line, as far as that goes without its sum.
func (r *Reader) link(l *Line) {
	ok := l.Lines == r.sinceMark
	if !ok {
		r.problem("the chain says %d lines, here are %d: lines are missing or were added", l.Lines, r.sinceMark)
	}
	r.in.Chained = true
	r.sinceMark = 0
	if r.chain != nil {
		r.chain.links = append(r.chain.links, link{start: r.lineAt, end: r.at, line: r.in.Lines, ok: ok, sha: l.SHA256})
	}
}

// line gives the next line without its end, valid until the next call.
func (r *Reader) line() ([]byte, error) {
	for {
		if i := bytes.IndexByte(r.buf[r.at:r.end], '\n'); i >= 0 {
			line := r.buf[r.at : r.at+i]
			r.lineAt = r.at
			r.at += i + 1
			if n := len(line); n > 0 && line[n-1] == '\r' {
				line = line[:n-1]
			}
			return line, nil
		}
		if r.done {
			return r.tail()
		}
		if r.end-r.at > maxLine {
			return nil, fmt.Errorf("line %d is longer than %d bytes: this is no record", r.in.Lines+1, maxLine)
		}
		if err := r.fill(); err != nil {
			return nil, err
		}
	}
}

// tail is what stands behind the last newline. A line that ends in a time stamp
// of full length is whole; anything else was torn by a power cut, and is
// counted but never read.
func (r *Reader) tail() ([]byte, error) {
	line := r.buf[r.at:r.end]
	if len(line) == 0 {
		r.endOfFile()
		return nil, io.EOF
	}
	stamp := line[bytes.LastIndexByte(line, ' ')+1:]
	if _, ok := parseInt(stamp); !ok || len(stamp) != r.unit.digits() {
		r.in.TornBytes = len(line)
		r.endOfFile()
		return nil, io.EOF
	}
	r.lineAt, r.at = r.at, r.end
	r.unended = true
	return line, nil
}

// endOfFile hashes what is left, once.
func (r *Reader) endOfFile() {
	if r.chain != nil && r.end > 0 {
		r.chain.hash(r.buf[:r.at])
	}
	r.base += int64(r.at)
	r.at, r.end = 0, 0
}

// digitsOfNow is the length of a time in nanoseconds from 2001 to 2286.
const digitsOfNow = 19

// fill reads on. The part of a line that is left goes to the front of the other
// buffer, while the whole lines before it go under the hash.
func (r *Reader) fill() error {
	if r.at > 0 {
		if r.chain != nil {
			r.chain.hash(r.buf[:r.at])
		}
		for len(r.other) < r.end-r.at+bufferSize/2+shapeMargin {
			r.other = make([]byte, 2*len(r.other))
		}
		n := copy(r.other, r.buf[r.at:r.end])
		r.base += int64(r.at)
		r.buf, r.other = r.other, r.buf
		r.at, r.end = 0, n
	}
	if r.end == len(r.buf)-shapeMargin {
		r.buf = append(r.buf, make([]byte, len(r.buf))...)
	}
	for range 100 {
		n, err := r.src.Read(r.buf[r.end : len(r.buf)-shapeMargin])
		r.end += n
		if err == io.EOF {
			r.done = true
			return nil
		}
		if err != nil {
			return fmt.Errorf("line %d: %w", r.in.Lines+1, err)
		}
		if n > 0 {
			return nil
		}
	}
	return fmt.Errorf("line %d: %w", r.in.Lines+1, io.ErrNoProgress)
}
