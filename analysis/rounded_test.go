package analysis

import (
	"encoding/json"
	"math"
	"testing"
	"time"
)

func TestLastBitsDoNotShowInAVerdict(t *testing.T) {
	at := time.Date(2026, 6, 3, 10, 0, 0, 123_456_789, time.UTC)
	make := func(eps float64) Verdict {
		limit := 0.1234 * (1 + eps)
		return Verdict{ProvedDepthM: 37.5, FirstFailure: &FirstFailure{Time: at.Add(time.Duration(eps * 1e9)), DepthM: 23.58138200466459 * (1 + eps)},
			Holds: []Hold{{DepthM: 37.5, LeakMLPerH: &Interval{1e-9 + eps, -0.13 + eps, 0.13 + eps}, DetectionLimitMLPerH: &limit}}}
	}
	a, _ := json.Marshal(make(0).Rounded())
	b, _ := json.Marshal(make(3e-12).Rounded())
	if string(a) != string(b) {
		t.Errorf("%s\n%s", a, b)
	}
	v := make(0)
	r := v.Rounded()
	if r.FirstFailure.DepthM != 23.58138 || v.FirstFailure.DepthM == 23.58138 || v.Holds[0].LeakMLPerH.Estimate != 1e-9 {
		t.Error("rounded wrongly, or the verdict that was given was changed")
	}
	if !math.IsInf(round(math.Inf(1)), 1) || round(1234567.8) != 1234568 {
		t.Error("rounded wrongly")
	}
}
