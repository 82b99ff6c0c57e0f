// Package traffic records what goes over the ports and buses of a bench, as a
// text file that a test plays back: a device that misbehaves on a lake's shore
// can be looked at on a desk.
//
// # The file
//
// One transfer a line, after a first line that says what it is:
//
//	proofpot traffic 1
//	1204331 serial /dev/serial/by-id/usb-pot read 705f6261723d332e3231340d0a
//	1301007 serial /dev/serial/by-id/usb-rs485 write 010300020003a40b
//	1350200 serial /dev/serial/by-id/usb-pot fail "unplugged, or the device hung up"
//	1402900 i2c 1 76 write d0 read 60
//	1502900 i2c 1 76 write d0 fail "remote I/O error"
//	1602900 onewire 1 write 55281e2d3c4b0000c544 read 00
//	1702900 spi 0.0 write 0000 read 0051
//	1802900 file 28-0316a2795cff/w1_slave read 393820303120346220...
//
// First the time in µs since the recording began, by a clock that never jumps;
// then the port, bus or file of the kernel; an I2C address in hexadecimal; bytes in hexadecimal, -
// for none. A name with a space is written with %20. Reads that found nothing
// are left out.
package traffic

import (
	"bufio"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
)

const firstLine = "proofpot traffic 1"

// SerialPort is what is recorded of a serial port. serialport.Port is one.
type SerialPort interface {
	io.ReadWriteCloser
	Flush() error
}

// Transfer is one line of a file.
type Transfer struct {
	At      time.Duration
	Bus     string // "serial", "i2c", "onewire", "spi" or "file"
	Name    string
	Addr    uint16 // i2c
	Written []byte
	Read    []byte
	Fail    string
}

// Load reads a file. The error names the line.
func Load(from io.Reader) ([]Transfer, error) {
	s := bufio.NewScanner(from)
	s.Buffer(nil, 1<<20)
	var all []Transfer
	for n := 1; s.Scan(); n++ {
		if n == 1 {
			if s.Text() != firstLine {
				return nil, fmt.Errorf("line 1: %q is no traffic; %q must stand there", s.Text(), firstLine)
			}
			continue
		}
		t, err := parse(s.Text())
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", n, err)
		}
		all = append(all, t)
	}
	return all, s.Err()
}

func parse(line string) (t Transfer, err error) {
	words := strings.SplitN(line, " ", 4)
	if len(words) < 4 {
		return t, errors.New("a transfer has a time, a bus, its name and what was done")
	}
	us, err := strconv.ParseInt(words[0], 10, 64)
	if err != nil || us < 0 || us > int64(1<<62)/1000 {
		return t, fmt.Errorf("%q is no time in µs", words[0])
	}
	t.At, t.Bus, t.Name = time.Duration(us)*time.Microsecond, words[1], strings.ReplaceAll(words[2], "%20", " ")
	rest := words[3]
	switch t.Bus {
	case "serial", "onewire", "spi", "file":
	case "i2c":
		addr, after, _ := strings.Cut(rest, " ")
		n, err := strconv.ParseUint(addr, 16, 10)
		if err != nil {
			return t, fmt.Errorf("%q is no I2C address", addr)
		}
		t.Addr, rest = uint16(n), after
	default:
		return t, fmt.Errorf("%q is no bus; serial, i2c, onewire, spi and file are", t.Bus)
	}
	for rest != "" {
		verb, after, _ := strings.Cut(rest, " ")
		if verb == "fail" {
			t.Fail, err = strconv.Unquote(after)
			return t, err
		}
		text, next, _ := strings.Cut(after, " ")
		var b []byte
		if text != "-" {
			if b, err = hex.DecodeString(text); err != nil {
				return t, err
			}
		}
		switch verb {
		case "read":
			t.Read = b
		case "write":
			t.Written = b
		default:
			return t, fmt.Errorf("%q is nothing that a transfer does; read, write and fail are", verb)
		}
		rest = next
	}
	return t, nil
}
