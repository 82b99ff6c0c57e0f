package record

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
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
	src  io.Reader
	buf  []byte
	at   int // start of the next line in buf
	end  int // end of what has been read
	done bool
	dec  *decoder

	in        Integrity
	lastNS    int64
	sum       hash.Hash
	hashed    int // bytes of buf up to here are in sum
	sinceMark int64
	prev      string // sha256 of the last chain line
	good      int64  // lines that were read
	base      int64  // where buf begins in the file
	unended   bool   // the last line has no newline
}

// NewReader reads lines of readings.lp from src.
func NewReader(src io.Reader) *Reader {
	return &Reader{src: src, buf: make([]byte, 256<<10), dec: newDecoder(), in: Integrity{Intact: true}, sum: sha256.New()}
}

// Integrity says what Next has found so far.
func (r *Reader) Integrity() Integrity {
	in := r.in
	in.Unchained = 0
	if in.Chained {
		in.Unchained = r.sinceMark
	}
	return in
}

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
	for {
		line, err := r.line()
		if err != nil {
			if err == io.EOF && r.good == 0 && r.in.Count > 0 {
				return fmt.Errorf("no line of it is a reading: %s", r.in.Problems[0])
			}
			return err
		}
		r.in.Lines++
		l.Clear()
		if err := r.dec.decode(line, l); err != nil {
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
			r.chain(l)
		} else {
			r.sinceMark++
		}
		if l.Measurement != Other {
			return nil
		}
	}
}

// chain checks a chain line: r.at stands behind it, the block ends before it.
func (r *Reader) chain(l *Line) {
	got := hex.EncodeToString(r.sum.Sum(nil))
	if l.Lines != r.sinceMark {
		r.problem("the chain says %d lines, here are %d: lines are missing or were added", l.Lines, r.sinceMark)
	} else if l.SHA256 != got {
		r.problem("the block of %d lines that ends here was altered: its sha256 is not the chain's", l.Lines)
	}
	r.in.Chained = true
	r.prev = l.SHA256 // go on from what the file says, so that one bad block is one problem
	r.sum.Reset()
	r.sum.Write([]byte(r.prev))
	r.hashed = r.at
	r.sinceMark = 0
}

// line gives the next line without its end, valid until the next call.
func (r *Reader) line() ([]byte, error) {
	// Everything before this line is hashed now, so that the sum, when a chain
	// line is met, covers the block but not the chain line.
	if r.at > r.hashed {
		r.sum.Write(r.buf[r.hashed:r.at])
		r.hashed = r.at
	}
	for {
		if i := bytes.IndexByte(r.buf[r.at:r.end], '\n'); i >= 0 {
			line := r.buf[r.at : r.at+i]
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
	r.at = r.end
	if len(line) == 0 {
		return nil, io.EOF
	}
	stamp := line[bytes.LastIndexByte(line, ' ')+1:]
	if _, ok := parseInt(stamp); !ok || len(stamp) != digitsOfNow {
		r.in.TornBytes = len(line)
		return nil, io.EOF
	}
	r.unended = true
	return line, nil
}

// digitsOfNow is the length of a time in nanoseconds from 2001 to 2286.
const digitsOfNow = 19

func (r *Reader) fill() error {
	if r.at > 0 {
		copy(r.buf, r.buf[r.at:r.end])
		r.end -= r.at
		r.hashed -= r.at
		r.base += int64(r.at)
		r.at = 0
	}
	if r.end == len(r.buf) {
		r.buf = append(r.buf, make([]byte, len(r.buf))...)
	}
	for range 100 {
		n, err := r.src.Read(r.buf[r.end:])
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
