package sht

import (
	"encoding/hex"
	"math"
	"testing"

	"proofpot/sensors"
	"proofpot/sensors/poll"
	"proofpot/sensors/sensortest"
)

// The table names the source of each row; BEEF is the data sheet's own.
func TestWordsAreThoseOfTheDataSheet(t *testing.T) {
	for _, row := range sensortest.Table(t, "../../testdata/reference/sht3x_sht4x_crc_conversion.csv", 9) {
		raw, err := hex.DecodeString(row[0] + row[1])
		if err != nil {
			t.Fatal(err)
		}
		word, err := Word([3]byte(raw), "word")
		if err != nil || float64(word) != sensortest.Number(t, row[2]) {
			t.Errorf("%s: %d %v", row[0], word, err)
		}
		if c := Celsius(word); math.Abs(c-sensortest.Number(t, row[3])) > 1e-5 {
			t.Errorf("%s: %v °C, want %s", row[0], c, row[3])
		}
		end := word == 0 || word == 0xFFFF
		warm := [3]byte{0x66, 0x66, 0x93} // 25 °C, a row of the table
		for column, line := range map[int][2]float64{4: {0, 100}, 5: {-6, 125}} {
			results := make([]poll.Result, Outputs)
			err := Results([6]byte{warm[0], warm[1], warm[2], raw[0], raw[1], raw[2]}, line[0], line[1], results)
			h := results[Humidity]
			if err != nil || end && (h.Kind != sensors.Saturated || !math.IsNaN(h.Value)) || !end && math.Abs(h.Value-sensortest.Number(t, row[column])) > 1e-5 {
				t.Errorf("%s: %+v %v, want %s", row[0], h, err, row[column])
			}
		}
	}
}

// A humidity is worked out for its temperature: without that it is none.
func TestATemperatureThatCannotBeTakesTheHumidityWithIt(t *testing.T) {
	word := func(w uint16) (b [3]byte) {
		b[0], b[1] = byte(w>>8), byte(w)
		b[2] = CRC([2]byte{b[0], b[1]})
		return b
	}
	for raw, status := range map[uint16]sensors.Status{0: sensors.Saturated, 0xFFFF: sensors.Saturated, 0x0100: sensors.OutOfRange, 0xFF00: sensors.OutOfRange, 0x6666: sensors.OK} {
		a, b := word(raw), word(0x6666)
		results := make([]poll.Result, Outputs)
		if err := Results([6]byte{a[0], a[1], a[2], b[0], b[1], b[2]}, 0, 100, results); err != nil {
			t.Fatal(err)
		}
		for _, r := range results {
			if r.Kind != status || math.IsNaN(r.Value) == (status == sensors.OK) {
				t.Errorf("%04x: %+v", raw, r)
			}
		}
	}
}

func FuzzResultsNeedRightCheckBytes(f *testing.F) {
	f.Add([]byte{0x66, 0x66, 0x93, 0xBE, 0xEF, 0x92})
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) < 6 {
			return
		}
		right := b[2] == CRC([2]byte(b)) && b[5] == CRC([2]byte(b[3:]))
		results := make([]poll.Result, Outputs)
		err := Results([6]byte(b), -6, 125, results)
		if (err == nil) != right {
			t.Fatalf("% x: %v", b[:6], err)
		}
		for _, r := range results {
			if err == nil && (r.Kind == sensors.OK) == math.IsNaN(r.Value) {
				t.Fatalf("% x: %+v", b[:6], r)
			}
		}
	})
}
