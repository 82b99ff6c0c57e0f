package forward

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/influxdata/line-protocol/v2/lineprotocol"

	"proofpot/rig/record"
)

// errNotSent marks a line that an engine has no use for: a chain line, a comment.
var errNotSent = errors.New("not sent")

type tag struct{ key, value string }

// rewriter turns lines of a record into lines for an engine: every number and truth
// a float, since an engine that has seen 1i refuses 2.5; the bench and the unit
// as tags; time in ns. An engine keeps one value of a series and a moment: lines
// of one series that share a moment follow each other by a nanosecond.
type rewriter struct {
	bench, unit string
	enc         lineprotocol.Encoder
	tags        []tag
}

// mostSeries bounds the memory against a hostile record.
const mostSeries = 4096

// line rewrites one line; m is advanced by it. The result is the caller's.
func (w *rewriter) line(raw []byte, m *mark) ([]byte, error) {
	dec := lineprotocol.NewDecoderWithBytes(raw)
	if !dec.Next() {
		if err := dec.Err(); err != nil {
			return nil, err
		}
		return nil, errNotSent
	}
	name, err := dec.Measurement()
	if err != nil {
		return nil, err
	}
	if string(name) == record.Chain.String() {
		return nil, errNotSent
	}
	w.enc.Reset()
	w.enc.SetPrecision(lineprotocol.Nanosecond)
	w.enc.StartLineRaw(name)
	w.tags = w.tags[:0]
	for {
		key, value, err := dec.NextTag()
		if err != nil {
			return nil, err
		}
		if key == nil {
			break
		}
		if k := string(key); k != "bench" && k != "unit" {
			w.tags = append(w.tags, tag{k, string(value)})
		}
	}
	for _, t := range []tag{{"bench", w.bench}, {"unit", w.unit}} {
		if t.value != "" {
			w.tags = append(w.tags, t)
		}
	}
	slices.SortFunc(w.tags, func(a, b tag) int { return strings.Compare(a.key, b.key) })
	for _, t := range w.tags {
		w.enc.AddTag(t.key, t.value)
	}
	if err := w.enc.Err(); err != nil {
		return nil, err
	}
	series := string(w.enc.Bytes())
	for {
		key, value, err := dec.NextField()
		if err != nil {
			return nil, err
		}
		if key == nil {
			break
		}
		w.enc.AddFieldRaw(key, asFloat(value))
	}
	stamp, err := dec.TimeBytes()
	if err != nil {
		return nil, err
	}
	at, err := strconv.ParseInt(string(stamp), 10, 64)
	if err != nil {
		return nil, fmt.Errorf("time stamp %q is no number", stamp)
	}
	if at, err = m.Unit.NS(at); err != nil {
		return nil, err
	}
	if last, ok := m.Sent[series]; ok && at <= last && at > last-1e6 {
		at = last + 1
	}
	if len(m.Sent) < mostSeries || m.Sent[series] != 0 {
		m.Sent[series] = max(at, m.Sent[series])
	}
	out := w.enc.Bytes()
	if err := w.enc.Err(); err != nil {
		return nil, err
	}
	return fmt.Appendf(bytes.Clone(out), " %d\n", at), nil
}

func asFloat(v lineprotocol.Value) lineprotocol.Value {
	f := 0.0
	switch v.Kind() {
	case lineprotocol.Bool:
		if v.BoolV() {
			f = 1
		}
	case lineprotocol.Int:
		f = float64(v.IntV())
	case lineprotocol.Uint:
		f = float64(v.UintV())
	default:
		return v
	}
	n, _ := lineprotocol.FloatValue(f)
	return n
}
