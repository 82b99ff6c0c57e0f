package record

import (
	"errors"
	"io"
	"os"
	"path/filepath"
)

// InsideFile holds what a logger inside the unit kept, set to the record's time,
// beside readings.lp: see analysis/insidelogger. It is derived, and not chained.
const InsideFile = "inside.lp"

// OpenWithInside is Open for an analysis: where the folder has inside.lp, its lines
// come among the record's in order of time. Integrity is that of the record alone.
func OpenWithInside(folder string) (*Record, error) {
	r, err := Open(folder)
	if err != nil {
		return nil, err
	}
	f, err := os.Open(filepath.Join(folder, InsideFile))
	if errors.Is(err, os.ErrNotExist) {
		return r, nil
	}
	if err != nil {
		return nil, errors.Join(err, r.Close())
	}
	r.inside = &inside{r: NewUncheckedReader(f)}
	r.file = both{r.file, f}
	return r, nil
}

type both struct{ a, b io.Closer }

func (b both) Close() error { return errors.Join(b.a.Close(), b.b.Close()) }

// inside is the second file of a record.
type inside struct {
	r           *Reader
	own, other  Line // the next of each
	ready, left bool // own, other hold one
	ended, gone bool
}

// Next gives the next line of the record, and of what was merged with it.
func (r *Record) Next(l *Line) error {
	in := r.inside
	if in == nil {
		return r.Reader.Next(l)
	}
	if !in.ready && !in.ended {
		switch err := r.Reader.Next(&in.own); {
		case errors.Is(err, io.EOF):
			in.ended = true
		case err != nil:
			return err
		default:
			in.ready = true
		}
	}
	if !in.left && !in.gone {
		switch err := in.r.Next(&in.other); {
		case errors.Is(err, io.EOF):
			in.gone = true
		case err != nil:
			return err
		default:
			in.left = true
		}
	}
	switch {
	case in.ready && (!in.left || in.own.TimeNS <= in.other.TimeNS):
		*l, in.ready = in.own, false
	case in.left:
		*l, in.left = in.other, false
	default:
		return io.EOF
	}
	return nil
}
