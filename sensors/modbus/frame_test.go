package modbus

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"slices"
	"strconv"
	"strings"
	"testing"

	"proofpot/sensors/sensortest"
)

func bytesOf(t testing.TB, text string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// testdata/reference/modbus_rtu_crc.csv names the source of each row; the first is the
// example of the serial line guide itself.
func TestTheCheckWordIsThatOfTheSpecification(t *testing.T) {
	for _, row := range sensortest.Table(t, "../../testdata/reference/modbus_rtu_crc.csv", 9) {
		want, err := strconv.ParseUint(row[1], 16, 16)
		if err != nil {
			t.Fatal(err)
		}
		got := CRC(bytesOf(t, row[0]))
		if got != uint16(want) || !bytes.Equal(binary.LittleEndian.AppendUint16(nil, got), bytesOf(t, row[2])) {
			t.Errorf("%s: %04X, want %s sent as %s", row[0], got, row[1], row[2])
		}
	}
}

// The request of registers 108 to 110 of device 17, in the application protocol
// 6.3 with the frame around it (testdata/reference/modbus_rtu_crc.csv), and its answer of
// 6.3: 02 2B, 00 00, 00 64 hex.
func TestTheExampleOfTheSpecificationIsAskedAndRead(t *testing.T) {
	ask := request(17, ReadHolding, 0x6B, 3)
	if !bytes.Equal(ask[:], bytesOf(t, "11 03 00 6B 00 03 76 87")) {
		t.Errorf("% X", ask)
	}
	answer := withCRC(bytesOf(t, "11 03 06 02 2B 00 00 00 64"))
	got, more, err := parse(answer, 17, ReadHolding, 3, nil)
	if more || err != nil || !slices.Equal(got, []uint16{0x22B, 0, 0x64}) {
		t.Errorf("%v %v %v", got, more, err)
	}
}

func withCRC(body []byte) []byte { return binary.LittleEndian.AppendUint16(body, CRC(body)) }

func TestADamagedAnswerGivesNoRegisters(t *testing.T) {
	answer := withCRC(bytesOf(t, "11 03 06 02 2B 00 00 00 64"))
	for n := range answer { // cut short
		if got, more, err := parse(answer[:n], 17, ReadHolding, 3, nil); !more || err != nil || len(got) > 0 {
			t.Errorf("%d bytes of it: %v %v %v", n, got, more, err)
		}
	}
	for i := range answer { // each bit turned
		for bit := range 8 {
			damaged := bytes.Clone(answer)
			damaged[i] ^= 1 << bit
			if got, more, err := parse(damaged, 17, ReadHolding, 3, nil); err == nil && !more || len(got) > 0 {
				t.Errorf("byte %d, bit %d: %v", i, bit, got)
			}
		}
	}
	for what, frame := range map[string][]byte{
		"another device":    withCRC(bytesOf(t, "12 03 06 02 2B 00 00 00 64")),
		"another function":  withCRC(bytesOf(t, "11 04 06 02 2B 00 00 00 64")),
		"too few registers": withCRC(bytesOf(t, "11 03 04 02 2B 00 00")),
	} {
		if _, more, err := parse(frame, 17, ReadHolding, 3, nil); more || err == nil {
			t.Errorf("%s is read", what)
		}
	}
	var refused Exception
	if _, _, err := parse(bytesOf(t, "01 83 02 C0 F1"), 1, ReadHolding, 3, nil); !errors.As(err, &refused) || refused != 2 {
		t.Errorf("exception 2 reads %v", err)
	}
}

// FuzzAnswer: whatever comes, no panic, and registers only from a whole frame
// whose check word is right.
func FuzzAnswer(f *testing.F) {
	f.Add(withCRC(bytesOf(f, "11 03 06 02 2B 00 00 00 64")), byte(17), byte(3), uint16(3))
	f.Add(bytesOf(f, "01 83 02 C0 F1"), byte(1), byte(3), uint16(1))
	f.Add([]byte{}, byte(1), byte(4), uint16(125))
	f.Fuzz(func(t *testing.T, got []byte, address, function byte, count uint16) {
		function, count = 3+function&1, 1+count%maxCount
		registers, more, err := parse(got, address, function, count, nil)
		whole := len(registers) == int(count) && !more && err == nil
		if !whole && (len(registers) > 0 || !more && err == nil) {
			t.Fatalf("%v %v %v", registers, more, err)
		}
		if whole && CRC(got[:5+2*int(count)]) != 0 { // the CRC over a frame with its own is 0
			t.Fatalf("% X reads %v", got, registers)
		}
	})
}
