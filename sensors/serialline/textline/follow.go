package textline

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"proofpot/sensors"
)

// checksum takes "*hh" off the end of a line and checks it: the exclusive or of
// all bytes before the star, without a leading "$", as NMEA 0183 has it. Once a
// device has sent one, a line without is damaged: its end is missing.
func (p *Parser) checksum(text string) (body, why string) {
	star := len(text) - 3
	if star < 0 || text[star] != '*' {
		if p.config.Checksum || p.checksummed {
			return "", "no checksum at the end"
		}
		return text, ""
	}
	said, err := strconv.ParseUint(text[star+1:], 16, 8)
	if err != nil {
		return "", "no checksum after the star"
	}
	body = strings.TrimPrefix(text[:star], "$")
	var sum byte
	for i := range len(body) {
		sum ^= body[i]
	}
	if sum != byte(said) {
		return "", fmt.Sprintf("the checksum says %02X, the line gives %02X", said, sum)
	}
	p.checksummed = true
	return strings.TrimSpace(body), ""
}

// follow checks that a line's sequence number is the next after the last one.
// A higher one means that lines were lost: a fault, and the line stands. A lower
// one means that the device started anew, unless its counter of 8, 16 or 32 bits
// was full. The same one again is no new line.
func (p *Parser) follow(at time.Duration, find lookup, to []sensors.Reading) ([]sensors.Reading, string) {
	if p.config.Sequence == "" {
		return to, ""
	}
	text, found := find(p.config.Sequence)
	if !found {
		return to, ""
	}
	n, err := strconv.ParseUint(text, 10, 64)
	if err != nil {
		return to, fmt.Sprintf("sequence number %s is no whole number", Shorten([]byte(text)))
	}
	last, first := p.sequence, !p.sequenced
	if !first && n == last {
		return to, fmt.Sprintf("sequence number %d came twice", n)
	}
	p.sequence, p.sequenced = n, true
	switch {
	case first || n == last+1 || n == 0 && isFull(last):
		return to, ""
	case n > last:
		return append(to, p.fault(sensors.NoReading, at,
			fmt.Sprintf("%d lines are missing between number %d and %d", n-last-1, last, n))), ""
	}
	return append(to, p.fault(sensors.Restarted, at,
		fmt.Sprintf("the device started anew: its line number %d came after %d", n, last))), ""
}

func isFull(n uint64) bool { return n == math.MaxUint8 || n == math.MaxUint16 || n == math.MaxUint32 }
