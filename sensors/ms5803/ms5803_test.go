package ms5803

import (
	"encoding/json"
	"os"
	"testing"

	"periph.io/x/conn/v3/i2c/i2ctest"

	"proofpot/sensors/ms58xx"
)

func TestTheExampleOfTheDataSheetComesOut(t *testing.T) {
	text, err := os.ReadFile("../../testdata/reference/ms58xx_compensation.json")
	if err != nil {
		t.Fatal(err)
	}
	var table struct { // it names the source of each case
		Cases []struct {
			C      [6]uint16 `json:"C1..C6"`
			D1, D2 uint32
			Result struct {
				DT, TEMP1, OFF, SENS, P1, Ti, OFFi, SENSi, TEMP2, P2 int64
			}
		} `json:"MS5803-14BA"`
	}
	if err := json.Unmarshal(text, &table); err != nil || len(table.Cases) == 0 {
		t.Fatal(err)
	}
	for _, w := range table.Cases {
		c := ms58xx.Coefficients{Sens: w.C[0], Off: w.C[1], TCS: w.C[2], TCO: w.C[3], TRef: w.C[4], TempSens: w.C[5]}
		got, want := Model14BA.Compensate(c, w.D1, w.D2), w.Result
		have := [...]int64{got.DT, got.Temp1, got.Off1, got.Sens1, got.P1, got.Ti, got.Offi, got.Sensi, got.Temp2, got.P2}
		if have != [...]int64{want.DT, want.TEMP1, want.OFF, want.SENS, want.P1, want.Ti, want.OFFi, want.SENSi, want.TEMP2, want.P2} {
			t.Errorf("%v, want %+v", have, want)
		}
	}
}

// The cold branches are those of the MS5837-30BA (the table says so): the same
// numbers come out of both. Ti, OFFi and SENSi are its cases.
func TestTheColdBranchesAreThoseOfThe30BA(t *testing.T) {
	for _, c := range []struct{ dT, temp, ti, offi, sensi int64 }{
		{-421376, 686, 62, 2589894, 1079122},
		{-1221376, -1807, 520, 22399616, 9435276},
	} {
		if ti, offi, sensi := second14BA(c.dT, c.temp); ti != c.ti || offi != c.offi || sensi != c.sensi {
			t.Errorf("%d: %d %d %d, want %+v", c.temp, ti, offi, sensi, c)
		}
	}
}

func TestOnlyItsOwnAddressesAreTaken(t *testing.T) {
	for addr, good := range map[uint16]bool{0x75: false, 0x76: true, 0x77: true} {
		if _, err := New14BA(&i2ctest.Record{}, addr); (err == nil) != good {
			t.Errorf("%x: %v", addr, err)
		}
	}
}
