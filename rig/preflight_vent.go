package rig

import (
	"context"
	"errors"
	"fmt"
	"time"

	"proofpot/sensors"
)

const (
	// puffPa gauge is let in to see the vent let it out: one metre of water.
	puffPa = 10e3
	// puffPulse is let in at a time, and puffMost in all; a supply that is shut
	// gives nothing.
	puffPulse = 60 * time.Millisecond
	puffMost  = 20 * time.Second
	// outMost is how long the vent may take to let nearly all of it out.
	outMost   = 20 * time.Second
	outShare  = 0.25
	moveTime  = time.Second // for a valve to move and be read back
	leastPuff = 2e3         // Pa gauge that shows anything
)

// VentSeen is a bench that reads its vent back.
type VentSeen interface {
	VentOpen() bool
}

// ProveVent shows that the vent opens: it shuts it, lets a puff of 0.1 bar in,
// opens it and sees the pressure go. Where no pressure comes (a supply that is
// still shut) a bench that reads its vent back is believed, and says so. The vent
// stands open at the end in every case. Nothing else of the plan has been done.
func ProveVent(ctx context.Context, d Devices, clock Clock, p *Plan) (how string, err error) {
	defer func() {
		if derr := d.Drive(clock.Now(), Valves{Vent: true}); err == nil && derr != nil {
			how, err = "", fmt.Errorf("%w: the vent: %w", ErrDevice, derr)
		}
	}()
	v := ventProof{ctx: ctx, d: d, clock: clock, plan: p}
	if err := v.run(moveTime, Valves{}, nil); err != nil {
		return "", err
	}
	readBack := false
	seen, tells := d.(VentSeen)
	if tells && seen.VentOpen() {
		return "", fmt.Errorf("%w: the vent was told to shut and reads back open", ErrDevice)
	}
	start := v.gauge()
	top := start
	if err := v.run(puffMost, Valves{Fill: true, Pulse: puffPulse, RegulatePa: p.RoomPa + 2*puffPa}, func() bool { top = v.gauge(); return top >= start+puffPa }); err != nil {
		return "", err
	}
	if err := v.run(outMost, Valves{Vent: true}, func() bool {
		readBack = readBack || tells && seen.VentOpen()
		return v.known && v.gauge() <= start+outShare*(top-start)+4*p.NoisePa && (!tells || readBack)
	}); err != nil {
		return "", err
	}
	left := v.gauge() - start
	switch {
	case tells && !readBack:
		return "", fmt.Errorf("%w: the vent was told to open and does not read back open", ErrDevice)
	case top-start >= leastPuff+4*p.NoisePa && left <= outShare*(top-start)+4*p.NoisePa:
		return fmt.Sprintf("it let out %.0f Pa", top-start-left), nil
	case top-start >= leastPuff+4*p.NoisePa:
		return "", fmt.Errorf("%w: the vent was opened and %.0f of %.0f Pa are still there after %s", ErrDevice, left, top-start, outMost)
	case readBack:
		return "it reads back open; no pressure came to show more, is the supply open?", nil
	}
	return "", fmt.Errorf("%w: the vent could not be shown to open: no pressure came within %s; is the supply open?", ErrDevice, puffMost)
}

// ventProof reads the chamber while it drives.
type ventProof struct {
	ctx      context.Context
	d        Devices
	clock    Clock
	plan     *Plan
	pa       float64
	at       time.Duration // of pa
	known    bool
	readings []sensors.Reading
}

func (v *ventProof) gauge() float64 { return v.pa - v.plan.RoomPa }

// run drives the valves, once a period, until it is done or the time is over.
func (v *ventProof) run(most time.Duration, want Valves, done func() bool) error {
	for start := v.clock.Now().Mono; v.clock.Now().Mono-start < most; {
		if err := v.d.Drive(v.clock.Now(), want); err != nil {
			return fmt.Errorf("%w: %w", ErrDevice, err)
		}
		v.clock.WaitUntil(v.ctx, v.clock.Now().Mono+v.plan.Period)
		if err := v.ctx.Err(); err != nil {
			return err
		}
		v.readings = v.d.Read(v.clock.Now(), v.readings[:0])
		for i := range v.readings {
			if r := &v.readings[i]; r.Sensor == v.plan.Chamber && r.Quantity == sensors.ChamberPressure && r.Status == sensors.OK {
				v.pa, v.at, v.known = r.Value, r.At, true
			}
		}
		if now := v.clock.Now().Mono; want.Fill && now-max(v.at, start) > staleAfter(v.plan) {
			return fmt.Errorf("%w: no chamber pressure while a puff was let in", ErrDevice)
		}
		if v.known && v.pa >= v.plan.LimitPa {
			return fmt.Errorf("%w: a puff of %s brought %.0f Pa gauge: too much for this chamber", ErrDevice, puffPulse, v.gauge())
		}
		if done != nil && done() {
			return nil
		}
	}
	if !v.known {
		return errors.Join(ErrDevice, errors.New("no chamber pressure"))
	}
	return nil
}
