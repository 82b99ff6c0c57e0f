package record

import (
	"fmt"
	"math"

	"github.com/influxdata/line-protocol/v2/lineprotocol"
)

// libraryDecoder reads a line of any shape that line protocol allows.
type libraryDecoder struct{}

func (libraryDecoder) decode(d *decoder, b []byte, l *Line) error {
	dec := lineprotocol.NewDecoderWithBytes(b)
	if !dec.Next() {
		if err := dec.Err(); err != nil {
			return err
		}
		return errEmpty
	}
	name, err := dec.Measurement()
	if err != nil {
		return err
	}
	l.Measurement = measurementOf(name)
	for {
		key, value, err := dec.NextTag()
		if err != nil {
			return err
		}
		if key == nil {
			break
		}
		d.tag(l, key, value)
	}
	for {
		key, value, err := dec.NextField()
		if err != nil {
			return err
		}
		if key == nil {
			break
		}
		switch value.Kind() {
		case lineprotocol.Bool:
			setBool(l, key, value.BoolV())
		case lineprotocol.Int:
			setInt(l, key, value.IntV())
		case lineprotocol.Uint:
			if u := value.UintV(); u <= math.MaxInt64 {
				setInt(l, key, int64(u))
			}
		case lineprotocol.Float:
			setFloat(l, key, value.FloatV())
		case lineprotocol.String:
			d.text(l, key, value.BytesV())
		}
	}
	t, err := dec.TimeBytes()
	if err != nil {
		return err
	}
	if t == nil {
		return fmt.Errorf("no time stamp; each line of a record ends in its time in nanoseconds")
	}
	ns, ok := parseInt(t)
	if !ok {
		return fmt.Errorf("time stamp %q is not a number of nanoseconds", t)
	}
	l.TimeNS = ns
	if dec.Next() {
		return fmt.Errorf("more than one entry in a line")
	}
	return dec.Err()
}
