package wiring

import (
	"proofpot/rig/setup"
	"proofpot/sensors"
	"proofpot/sensors/calibration"
)

// calibrated is the quantity of a sensor whose readings are corrected.
type calibrated struct {
	quantity sensors.Quantity
	by       *calibration.Calibration
}

// calibratedOf lists the sensors of a bench that have a calibration, by id; nil
// where none has.
func calibratedOf(b setup.Bench) map[string]*calibrated {
	var all map[string]*calibrated
	for _, s := range b.Sensors {
		q, known := sensors.QuantityNamed(s.Measures)
		if s.Calibration == nil || !known {
			continue
		}
		if all == nil {
			all = map[string]*calibrated{}
		}
		all[s.ID] = &calibrated{q, s.Calibration}
	}
	return all
}

// correct puts the corrected pressure in place of each value and keeps the value
// beside it. A fault has no value and stays as it is.
func correct(all map[string]*calibrated, readings []sensors.Reading) {
	if len(all) == 0 {
		return
	}
	for i := range readings {
		r := &readings[i]
		if c := all[r.Sensor]; c != nil && c.quantity == r.Quantity && r.Status == sensors.OK {
			r.Raw, r.HasRaw = r.Value, true
			r.Value = c.by.Correct(r.Value)
		}
	}
}
