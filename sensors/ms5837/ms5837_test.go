package ms5837

import (
	"encoding/json"
	"os"
	"testing"

	"periph.io/x/conn/v3/i2c/i2ctest"

	"proofpot/sensors/ms58xx"
)

// worked is a case of the reference table, which names the source of each.
type worked struct {
	C      [6]uint16 `json:"C1..C6"`
	D1, D2 uint32
	Result struct {
		DT, TEMP1, OFF, SENS, P1, Ti, OFFi, SENSi, TEMP2, P2 int64
	}
	Kind string
}

func cases(t *testing.T, model string) []worked {
	t.Helper()
	text, err := os.ReadFile("../../testdata/reference/ms58xx_compensation.json")
	if err != nil {
		t.Fatal(err)
	}
	var all map[string]json.RawMessage
	if err := json.Unmarshal(text, &all); err != nil {
		t.Fatal(err)
	}
	var of []worked
	if err := json.Unmarshal(all[model], &of); err != nil || len(of) == 0 {
		t.Fatal(len(of), err)
	}
	return of
}

func TestTheExamplesOfTheDataSheetsComeOut(t *testing.T) {
	for _, model := range []*ms58xx.Model{&Model30BA, &Model02BA} {
		for i, w := range cases(t, model.Name) {
			c := ms58xx.Coefficients{Sens: w.C[0], Off: w.C[1], TCS: w.C[2], TCO: w.C[3], TRef: w.C[4], TempSens: w.C[5]}
			got, want := model.Compensate(c, w.D1, w.D2), w.Result
			have := [...]int64{got.DT, got.Temp1, got.Off1, got.Sens1, got.P1, got.Ti, got.Offi, got.Sensi, got.Temp2, got.P2}
			if have != [...]int64{want.DT, want.TEMP1, want.OFF, want.SENS, want.P1, want.Ti, want.OFFi, want.SENSi, want.TEMP2, want.P2} {
				t.Errorf("%s, case %d (%s): %v, want %+v", model.Name, i, w.Kind, have, want)
			}
			if pa := float64(want.P2) * model.PUnitPa; got.Pa < pa || got.Pa >= pa+model.PUnitPa || got.C != float64(want.TEMP2)/100 {
				t.Errorf("%s, case %d: %v Pa, %v °C", model.Name, i, got.Pa, got.C)
			}
		}
	}
}

// A 02BA that is read as a 30BA shows twenty times its pressure: what its product
// type is there for (sheet of the 30BA, p. 9).
func TestAnotherModelIsRefusedByItsProductType(t *testing.T) {
	words := func(kind uint16) [8]uint16 {
		w := [8]uint16{kind << 5, 34982, 36352, 20328, 22354, 26646, 26146}
		_, right := ms58xx.CRCFirst.CRC(w)
		w[0] |= uint16(right) << 12
		return w
	}
	for _, c := range []struct {
		model *ms58xx.Model
		kind  uint16
		good  bool
	}{
		{&Model30BA, 0x1A, true}, {&Model30BA, 0x15, false}, {&Model30BA, 0x00, true},
		{&Model02BA, 0x15, true}, {&Model02BA, 0x00, true}, {&Model02BA, 0x1A, false},
	} {
		if _, err := c.model.Coefficients(words(c.kind)); (err == nil) != c.good {
			t.Errorf("%s with type %02X: %v", c.model.Name, c.kind, err)
		}
	}
}

func TestOnlyTheirOwnAddressIsTaken(t *testing.T) {
	bus := &i2ctest.Record{}
	for addr, good := range map[uint16]bool{0x76: true, 0x77: false} {
		_, one := New30BA(bus, addr)
		_, two := New02BA(bus, addr)
		if (one == nil) != good || (two == nil) != good {
			t.Errorf("%x: %v %v", addr, one, two)
		}
	}
	if len(bus.Ops) != 0 {
		t.Error("something was sent before anybody asked")
	}
}
