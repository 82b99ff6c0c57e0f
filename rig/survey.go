package rig

import (
	"context"
	"fmt"
	"math"
	"time"

	"proofpot/rig/setup"
	"proofpot/sensors"
)

// Surveyed is what the bench showed before anything moved, its vent open.
type Surveyed struct {
	Readings  []sensors.Reading
	ChamberPa float64 // absolute, mean
	RoomPa    float64 // absolute: the barometer's mean, or else the sheet's, or else ChamberPa
	RoomFrom  string  // which of them
}

// SurveyNote begins the line of the record behind which the sequencer's own
// readings begin.
const SurveyNote = "room "

// Note gives that line.
func (s Surveyed) Note() string {
	return fmt.Sprintf(SurveyNote+"%.0f Pa absolute, from the %s; chamber at open vent %.0f Pa absolute", s.RoomPa, s.RoomFrom, s.ChamberPa)
}

const (
	surveyTime = 3 * time.Second
	surveyMost = 10 * time.Second
	// ventedErrorPa is how far a chamber at open vent may read from the
	// barometer beyond the stated accuracy, before the sensor counts as
	// wrongly described (gauge for absolute, say). Weather and altitude move a
	// sheet's figure by a few kPa; gauge for absolute is 100 kPa.
	ventedErrorPa = 5e3
)

// Survey opens the vent (on a hand-operated bench the operator has), reads the bench for some seconds and checks that the
// chamber's sensor is there and near the barometer.
func Survey(ctx context.Context, d Devices, clock Clock, period time.Duration, b setup.Bench) (Surveyed, error) {
	chamber, err := chamberSensor(b)
	if err != nil {
		return Surveyed{}, err
	}
	var s Surveyed
	var chamberMean, roomMean mean
	if !b.HandOperated {
		if err := d.Drive(clock.Now(), Valves{Vent: true}); err != nil {
			return s, fmt.Errorf("%w: the vent: %w", ErrDevice, err)
		}
	}
	for start := clock.Now().Mono; ; {
		clock.WaitUntil(ctx, clock.Now().Mono+period)
		if err := ctx.Err(); err != nil {
			return s, err
		}
		now := clock.Now()
		from := len(s.Readings)
		s.Readings = d.Read(now, s.Readings)
		for _, r := range s.Readings[from:] {
			if r.Status != sensors.OK {
				continue
			}
			switch {
			case r.Quantity == sensors.ChamberPressure && r.Sensor == chamber.ID:
				chamberMean.add(r.Value)
			case r.Quantity == sensors.RoomPressure:
				roomMean.add(r.Value)
			}
		}
		took := now.Mono - start
		if took >= surveyTime && chamberMean.n >= 3 {
			break
		}
		if took >= surveyMost {
			return s, fmt.Errorf("%w: sensor %q gave %d readings in %s; is it plugged in, and does bench.toml describe its lines?", ErrDevice, chamber.ID, chamberMean.n, surveyMost)
		}
	}
	s.ChamberPa = chamberMean.value()
	switch {
	case roomMean.n > 0:
		s.RoomPa, s.RoomFrom = roomMean.value(), "barometer"
	case b.RoomPa > 0:
		s.RoomPa, s.RoomFrom = b.RoomPa, "bench file"
	default:
		s.RoomPa, s.RoomFrom = s.ChamberPa, "chamber at open vent"
	}
	if off := s.ChamberPa - s.RoomPa; math.Abs(off) > ventedErrorPa+chamber.AccuracyPa {
		return s, fmt.Errorf("%w: with the vent open, sensor %q reads %.0f Pa absolute and the room has %.0f Pa (%s): is the vent really open, and is the sensor gauge or absolute as bench.toml says?", ErrDevice, chamber.ID, s.ChamberPa, s.RoomPa, s.RoomFrom)
	}
	return s, nil
}

type mean struct {
	sum float64
	n   int
}

func (m *mean) add(v float64)  { m.sum += v; m.n++ }
func (m *mean) value() float64 { return m.sum / float64(m.n) }
