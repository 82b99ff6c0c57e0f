package setup

import (
	"strings"
	"testing"

	"proofpot/sensors"
)

func TestAnADS1115SaysWhatHangsAtIt(t *testing.T) {
	pressure := Field{From: "ain0", Signal: "ratiometric", Unit: "bar", Reference: "absolute", High: 16}
	probe := Field{From: "ain1", Signal: "wet-probe", Measures: "wet probe", SeriesOhm: 1e5, EndOhm: 1e5}
	for want, change := range map[string]func(s *Sensor){
		"":                  func(*Sensor) {},
		"is no address":     func(s *Sensor) { s.Address = 0x40 },
		"looks dry":         func(s *Sensor) { s.Fields[1].EndOhm = 0 },
		"supply needs":      func(s *Sensor) { s.SupplyInput = "" },
		"cannot measure":    func(s *Sensor) { s.Fields[1].Measures = "chamber gas temperature" },
		"no range of":       func(s *Sensor) { s.Fields[0].RangeV = 5 },
		"three of these":    func(s *Sensor) { s.Fields[0].Steinhart = []float64{1, 2} },
		"reference":         func(s *Sensor) { s.Fields[0].Reference = "" },
		"is in use already": func(s *Sensor) { s.Fields[1].From = "ain0" },
		"measures wet probe": func(s *Sensor) {
			s.Measures = "wet probe"
			s.Fields = s.Fields[:1]
			s.Fields[0].Measures = "chamber pressure"
		},
	} {
		s := Sensor{Measures: "chamber pressure", Bus: "1", Address: 0x48, SupplyInput: "ain3", SupplyLowV: 4.5, SupplyHighV: 5.5, Fields: []Field{pressure, probe}}
		change(&s)
		err := s.checkADS1115(func(k string) string { return k })
		if (err == nil) != (want == "") || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
	s := Sensor{Measures: "chamber pressure", Fields: []Field{pressure, probe}}
	if _, inputs, scales := s.ADS1115(); inputs[1].Channel != 1 || scales[1].Quantity != sensors.ProbeWet || scales[0].Unit != "bar" {
		t.Errorf("%+v, %+v", inputs, scales)
	}
}
