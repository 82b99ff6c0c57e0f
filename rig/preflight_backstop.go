package rig

import (
	"context"
	"fmt"
	"time"

	"proofpot/rig/setup"
)

// Beating is a bench whose heartbeat holds a watchdog relay. Silence stops the
// heartbeat, so that the relay falls, or lets it go on.
type Beating interface {
	Silence(on bool) error
}

const (
	stayTime     = 3 * time.Second // with everything shut, twice: how a puff cools, or leaks, by itself
	backstopMost = 15 * time.Second
	fallenShare  = 0.3 // of the puff, and beyond what would have gone by itself
)

// AttendedTime is what a person at the supply's cock is given to shut it, where
// nothing else ends a fill that stands open when the program dies: the limit of
// such a bench lies lower by what the fastest ramp brings in so long. (Common
// practice, no source: he looks up, walks two steps and turns a cock.)
const AttendedTime = 30 * time.Second

// ProveBackstop shows that the watchdog relay takes the valves' power: it lets a
// puff of 0.1 bar in, sees it stay, stops the heartbeat and sees the vent open
// though it is told to stay shut; on a bench that holds its pressure without
// power, it sees that the fill lets nothing in any more. The heartbeat goes on and
// the vent stands open at the end in every case.
func ProveBackstop(ctx context.Context, d Devices, clock Clock, p *Plan, onPowerLoss string) (how string, err error) {
	beat, ok := d.(Beating)
	if !ok {
		return "", fmt.Errorf("%w: its heartbeat cannot be stopped to see what the watchdog relay does", ErrDevice)
	}
	defer func() {
		serr := beat.Silence(false)
		derr := d.Drive(clock.Now(), Valves{Vent: true})
		for _, e := range []error{serr, derr} {
			if err == nil && e != nil {
				how, err = "", fmt.Errorf("%w: %w", ErrDevice, e)
			}
		}
	}()
	v := ventProof{ctx: ctx, d: d, clock: clock, plan: p}
	puff := Valves{Fill: true, Pulse: puffPulse, RegulatePa: p.RoomPa + 2*puffPa}
	if err := v.run(moveTime, Valves{}, nil); err != nil {
		return "", err
	}
	start, began := v.gauge(), clock.Now().Mono
	if err := v.run(puffMost, puff, func() bool { return v.gauge() >= start+puffPa }); err != nil {
		return "", err
	}
	brought, took := v.gauge()-start, clock.Now().Mono-began
	if brought < leastPuff+4*p.NoisePa {
		return "", fmt.Errorf("%w: the watchdog relay is tried with a puff, and no pressure came within %s; is the supply open?", ErrDevice, puffMost)
	}
	if err := v.run(stayTime, Valves{}, nil); err != nil {
		return "", err
	}
	early := v.gauge()
	if err := v.run(stayTime, Valves{}, nil); err != nil {
		return "", err
	}
	stayed := v.gauge() - start
	byItself := max(early-v.gauge(), 0) / stayTime.Seconds() // Pa/s
	if stayed < brought/2 || byItself*backstopMost.Seconds() > stayed/2 {
		return "", fmt.Errorf("%w: of a puff of %.0f Pa %.0f Pa are left with everything shut: the watchdog relay cannot be tried on a chamber that leaks so", ErrDevice, brought, stayed)
	}
	if err := beat.Silence(true); err != nil {
		return "", fmt.Errorf("%w: %w", ErrDevice, err)
	}
	began = clock.Now().Mono
	if onPowerLoss == setup.PowerLossHold {
		if err := v.run(backstopMost/2, Valves{}, nil); err != nil {
			return "", err
		}
		before := v.gauge()
		if err := v.run(took, puff, nil); err != nil {
			return "", err
		}
		if more := v.gauge() - before; more > fallenShare*brought {
			return "", fmt.Errorf("%w: its heartbeat had stopped and the fill still let %.0f Pa in: the watchdog relay does not take the valves' power", ErrDevice, more)
		}
		return "its heartbeat stopped, and the fill let nothing in any more", nil
	}
	gone := false
	if err := v.run(backstopMost, Valves{}, func() bool {
		gone = stayed-(v.gauge()-start) > fallenShare*stayed+byItself*(clock.Now().Mono-began).Seconds()+4*p.NoisePa
		return gone
	}); err != nil {
		return "", err
	}
	if !gone {
		return "", fmt.Errorf("%w: its heartbeat had stopped for %s and the vent was still shut: the watchdog relay does not take the valves' power", ErrDevice, backstopMost)
	}
	return fmt.Sprintf("its heartbeat stopped, and after %.1f s the vent was letting the puff out", (clock.Now().Mono - began).Seconds()), nil
}

// backstop asks for what shuts a fill when the program, its computer or the link
// to the relays dies.
func backstop(b *Before) Check {
	const id, text = "watchdog", "something shuts the fill when the program or its link to the valves dies"
	switch bench := b.Run.Bench; {
	case bench.HandOperated:
		return Check{ID: id, Text: text, State: NotApplicable, Why: "a hand fills; it stops when the clock on the screen stands still"}
	case b.Simulated:
		return Check{ID: id, Text: text, State: NotApplicable, Why: "simulated bench"}
	case bench.Backstop() == setup.ByBoard:
		return tick(id, text, true, "the relay board ends each opening of the fill by itself (pulse_text)")
	case bench.Backstop() == setup.ByPerson:
		return tick(id, text, true, fmt.Sprintf("a person at the supply's cock for the whole run (attended): the limit lies lower by %s of the fastest ramp", AttendedTime))
	case bench.Backstop() == setup.ByNobody:
		return tick(id, text, false, "no watchdog relay ([heartbeat]), no relay board that ends its pulses (pulse_text), nobody at the supply's cock (attended = true): a fill that stands open then stays open")
	case b.BackstopErr != nil:
		return tick(id, text, false, b.BackstopErr.Error())
	case b.BackstopHow == "":
		return Check{ID: id, Text: text, State: Waiting, Why: "the watchdog relay is tried near the end"}
	}
	return tick(id, text, true, "watchdog relay: "+b.BackstopHow)
}
