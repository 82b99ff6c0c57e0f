package modbus

import (
	"encoding/binary"
	"fmt"
)

// The functions that read (application protocol, 6.3 and 6.4).
const (
	ReadHolding = 3
	ReadInput   = 4
)

const (
	maxCount       = 125 // registers in one request, 6.3
	requestLength  = 8
	exceptionBit   = 0x80
	shortestAnswer = 5 // an exception
	longestAnswer  = 5 + 2*maxCount
)

// CRC computes the check word of a frame, which is sent low byte first (serial
// line guide, 6.2.2: polynomial A001 hex, start FFFF hex).
func CRC(frame []byte) uint16 {
	crc := uint16(0xFFFF)
	for _, b := range frame {
		crc ^= uint16(b)
		for range 8 {
			if crc&1 != 0 {
				crc = crc>>1 ^ 0xA001
			} else {
				crc >>= 1
			}
		}
	}
	return crc
}

// request makes the frame that asks a device for count registers from start on.
func request(address, function byte, start, count uint16) [requestLength]byte {
	f := [requestLength]byte{address, function}
	binary.BigEndian.PutUint16(f[2:], start)
	binary.BigEndian.PutUint16(f[4:], count)
	binary.LittleEndian.PutUint16(f[6:], CRC(f[:6]))
	return f
}

// Exception is a device's refusal (application protocol, 7).
type Exception byte

var exceptionWords = map[Exception]string{
	1:  "it does not know this function; try the other of 3 and 4",
	2:  "it has no such register, or not so many; see its manual, and count from 0",
	3:  "it takes the request for wrong",
	4:  "it has failed",
	5:  "it needs longer",
	6:  "it is busy",
	8:  "its memory is damaged",
	10: "the gateway has no path to it",
	11: "the gateway got no answer from it",
}

func (e Exception) Error() string {
	words := exceptionWords[e]
	if words == "" {
		words = "its manual may say what that is"
	}
	return fmt.Sprintf("exception %d: %s", byte(e), words)
}

// parse looks for the answer to a request in what has come. more says that the
// answer is not complete; otherwise either err says what is wrong with it, an
// Exception or a damaged frame, or registers has count of them, appended to to.
// What comes after a whole answer is noise, and thrown away.
func parse(got []byte, address, function byte, count uint16, to []uint16) (registers []uint16, more bool, err error) {
	if len(got) < shortestAnswer {
		return to, true, nil
	}
	if got[0] != address {
		return to, false, fmt.Errorf("an answer of address %d", got[0])
	}
	length := shortestAnswer + int(got[2])
	if got[1] == function|exceptionBit {
		length = shortestAnswer
	} else if got[1] != function || int(got[2]) != 2*int(count) {
		return to, false, fmt.Errorf("an answer to another request, function %d with %d bytes", got[1], got[2])
	}
	if len(got) < length {
		return to, true, nil
	}
	body := got[:length-2]
	if said, is := binary.LittleEndian.Uint16(got[length-2:]), CRC(body); said != is {
		return to, false, fmt.Errorf("the check word is %04X, the frame gives %04X", said, is)
	}
	if got[1]&exceptionBit != 0 {
		return to, false, Exception(got[2])
	}
	for i := 3; i < len(body); i += 2 {
		to = append(to, binary.BigEndian.Uint16(body[i:]))
	}
	return to, false, nil
}
