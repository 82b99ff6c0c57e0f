package export

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"strconv"

	"proofpot/rig/record"
)

// Units are the units of time that line protocol is written in, in nanoseconds.
var Units = map[string]int64{"ns": 1, "us": 1e3, "ms": 1e6, "s": 1e9}

// LineProtocol copies the readings of a record with their times in another unit,
// cut off and not rounded, so that no line comes before its time. All else stays as it
// is, byte by byte, but chain lines, which hold for the record's own bytes alone.
// It gives how many lines were written, and how many problems the record has.
func LineProtocol(readings io.Reader, to io.Writer, unit string) (written, problems int64, err error) {
	per, ok := Units[unit]
	if !ok {
		return 0, 0, fmt.Errorf("unit of time %q: want ns, us, ms or s", unit)
	}
	var raw bytes.Buffer // what the reader has taken and not yet given
	r := record.NewUncheckedReader(io.TeeReader(readings, &raw))
	r.KeepOthers = true
	out := bufio.NewWriterSize(to, 64<<10)
	var l record.Line
	var stamp []byte
	at := int64(0)
	for {
		err := r.Next(&l)
		if err == io.EOF {
			return written, int64(r.Integrity().Count), out.Flush()
		}
		if err != nil {
			return written, 0, err
		}
		bytesOf := raw.Next(int(r.Offset() - at)) // lines that were passed over come before it
		at = r.Offset()
		line := bytes.TrimRight(bytesOf, "\r\n")
		line = line[bytes.LastIndexByte(line, '\n')+1:]
		if l.Measurement == record.Chain {
			continue
		}
		line = bytes.TrimRight(line, " ")
		stamp = strconv.AppendInt(stamp[:0], floor(l.TimeNS, per), 10)
		out.Write(line[:bytes.LastIndexByte(line, ' ')+1])
		out.Write(stamp)
		if err := out.WriteByte('\n'); err != nil { // the first error sticks
			return written, 0, err
		}
		written++
	}
}

func floor(ns, per int64) int64 {
	q := ns / per
	if ns%per < 0 {
		q--
	}
	return q
}
