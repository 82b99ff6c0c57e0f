package setup

import (
	"strings"
	"testing"
)

func TestADS18B20IsAThermometerWithASerialNumber(t *testing.T) {
	for want, s := range map[string]Sensor{
		"":                 {Measures: "chamber water temperature", Part: "28-0316a2798fff"},
		"is a thermometer": {Measures: "chamber pressure", Part: "28-0316a2798fff"},
		"leave the fields": {Measures: "chamber water temperature", Part: "28-0316a2798fff", Fields: []Field{{}}},
		"10-0316a2798fff":  {Measures: "chamber water temperature", Part: "10-0316a2798fff"},
		"faster than":      {Measures: "chamber water temperature", Part: "28-0316a2798fff", IntervalS: 0.5},
	} {
		err := s.checkDS18B20(func(k string) string { return k })
		if (err == nil) != (want == "") || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", s, err, want)
		}
	}
}
