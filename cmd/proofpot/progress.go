package main

import (
	"fmt"
	"math"
	"strings"
	"time"

	"proofpot/analysis"
	"proofpot/analysis/characterise"
	"proofpot/rig"
	"proofpot/rig/record"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

// progress shows a run while it goes on: a line that is rewritten on a
// terminal, plain lines elsewhere.
type progress struct {
	w    *world
	plan *rig.Plan
	live *analysis.Live
	// filling is the fill so far, until it was compared with the last. Nil: done.
	filling *characterise.Filling
	sim     bool
	// unsynced says for how long the oldest line waits for the disk. Nil: not known yet.
	unsynced func() time.Duration
	seen     map[string]*seen
	order    []string

	drawn   time.Time     // when the line was last rewritten, by the real clock
	said    time.Duration // when a plain line was last written, by the run's clock
	phase   rig.Phase
	leg     int
	told    int // the leg that was last announced, −1 for none
	prompt  rig.PromptKind
	answers answers
	width   int // of the line that stands on the terminal
}

// seen is the health of one sensor.
type seen struct {
	at    time.Duration // last reading with a value
	fault string        // of the last reading without one since then
}

const (
	redraw     = 200 * time.Millisecond
	plainEvery = 10 * time.Minute
	silentFor  = 15 * time.Second // longer than any sensor's period
)

func newProgress(w *world, plan *rig.Plan, run setup.Run, sim bool) (*progress, error) {
	live, err := analysis.NewLive(run)
	if err != nil {
		return nil, err
	}
	p := &progress{w: w, plan: plan, live: live, filling: characterise.NewFilling(run), sim: sim, seen: map[string]*seen{}, told: -1}
	stages := "1 stage"
	if n := len(run.Profile.Stages); n > 1 {
		stages = fmt.Sprintf("%d stages", n)
	}
	fmt.Fprintf(w.errs, "%s on bench %s, unit %s: %s to %.1f m, %s and the vent; room %.0f Pa, unit closed at %.0f Pa\n",
		run.Profile.Name, run.Bench.ID, run.Unit.ID, stages, deepest(plan), clock(plan.Total()), plan.RoomPa, plan.SealedPa)
	if w.console != nil {
		w.console.Plan(run, plan, live)
	}
	return p, nil
}

func deepest(p *rig.Plan) float64 {
	d := 0.0
	for i := range p.Legs {
		d = max(d, p.Legs[i].DepthM)
	}
	return d
}

// line is the record writer's hook: the live estimate sees what is recorded.
func (p *progress) line(l *record.Line) {
	if p.w.console != nil {
		p.w.console.Line(l)
	}
	p.live.Line(l)
	if p.filling != nil {
		p.filling.Line(l)
	}
}

// step is the loop's hook.
func (p *progress) step(now rig.Instant, s *rig.State, out *rig.Output, readings []sensors.Reading) {
	p.health(now.Mono, readings)
	p.w.tell.step(s)
	for _, e := range out.Events() {
		switch e.Kind {
		case rig.FaultEvent, rig.NoteEvent, rig.RunEvent:
			p.say(now.Mono, e.Text)
		}
	}
	changed := s.Phase != p.phase || s.Leg != p.leg
	if s.Leg != p.told && s.Phase == rig.Ramp {
		p.told = s.Leg
		leg := &p.plan.Legs[s.Leg]
		if leg.Ask != rig.NoPrompt {
			p.say(now.Mono, fmt.Sprintf("stage %d, %s: %s", leg.Stage, leg.Name, leg.Ask))
		} else {
			p.say(now.Mono, fmt.Sprintf("stage %d, %s: %.1f m, %.2f bar gauge", leg.Stage, leg.Name, leg.DepthM, (leg.TargetPa-p.plan.RoomPa)/1e5))
		}
	}
	p.phase, p.leg = s.Phase, s.Leg
	if p.w.errTTY {
		if changed || time.Since(p.drawn) >= redraw {
			p.draw(p.status(now.Mono, s))
		}
	} else if changed || now.Mono-p.said >= plainEvery {
		p.say(now.Mono, p.status(now.Mono, s))
	}
	p.answers.prompt(out.Prompt.Kind)
	p.answers.typing.step(now.Mono, p.say)
	if k := out.Prompt.Kind; k != p.prompt {
		p.prompt = k
		if k != rig.NoPrompt && !p.sim {
			p.say(now.Mono, p.wish(out.Prompt))
		}
	}
}

// wish is what the operator is asked to do, with the figures on his gauge.
func (p *progress) wish(pr rig.Prompt) string {
	bar := (pr.ShownPa(p.plan.RoomPa) - p.plan.RoomPa) / 1e5
	text := ">>> " + strings.ToUpper(pr.Kind.String()[:1]) + pr.Kind.String()[1:]
	switch pr.Kind {
	case rig.PumpUp, rig.SlowDown, rig.LetOff:
		text += fmt.Sprintf(": to %.2f bar gauge (%.1f m), at most %.1f bar/min", bar, pr.DepthM, p.plan.Legs[p.leg].RatePaS*60/1e5)
		if pr.Kind != rig.LetOff {
			text += fmt.Sprintf("; stop at %.2f bar on the chamber's own gauge too", bar)
			if p.w.errTTY {
				text += ", and at once when the clock here stands still"
			}
		}
	case rig.DrawDown, rig.LetIn:
		text += fmt.Sprintf(": to %.0f hPa absolute, %.2f bar below the room", pr.InsidePa/100, (p.plan.RoomPa-pr.InsidePa)/1e5)
	case rig.CloseUp:
		text += "; then press Enter"
	case rig.PutIn:
		text += fmt.Sprintf("; it is to be %g K warmer than the water; then press Enter", pr.WarmerK)
	case rig.VentAll:
		text += "; do not open the lid until the run has ended"
	}
	return text
}

func (p *progress) health(now time.Duration, readings []sensors.Reading) {
	for i := range readings {
		r := &readings[i]
		h := p.seen[r.Sensor]
		if h == nil {
			h = &seen{at: now}
			p.seen[r.Sensor] = h
			p.order = append(p.order, r.Sensor)
		}
		if r.Status == sensors.OK {
			h.at, h.fault = r.At, ""
		} else {
			h.fault = r.Status.String()
		}
	}
}

// ill lists the sensors that are not well, with the age of their last value.
func (p *progress) ill(now time.Duration) string {
	var ill []string
	for _, id := range p.order {
		h := p.seen[id]
		if age := now - h.at; h.fault != "" || age > silentFor {
			why := h.fault
			if why == "" {
				why = "silent"
			}
			ill = append(ill, fmt.Sprintf("%s %s, %s old", id, why, age.Round(time.Second)))
		}
	}
	if len(ill) == 0 {
		return "sensors ok"
	}
	return strings.Join(ill, "; ")
}

// status is the run in one line.
func (p *progress) status(now time.Duration, s *rig.State) string {
	var b strings.Builder
	if p.w.errTTY {
		b.WriteString(time.Now().Format(time.TimeOnly) + " ") // it runs while the program does
	}
	switch s.Phase {
	case rig.Ready, rig.Done:
		b.WriteString(s.Phase.String())
	case rig.Vent:
		b.WriteString("vent")
	default:
		leg := &p.plan.Legs[s.Leg]
		fmt.Fprintf(&b, "%s %.1f m %s left", s.Phase, leg.DepthM, clock(p.left(now, s)))
	}
	if s.Known {
		fmt.Fprintf(&b, " | %.3f bar %.2f m", plain((s.Pa-p.plan.RoomPa)/1e5, 1e3), plain(p.plan.DepthM(s.Pa), 1e2))
	}
	fmt.Fprintf(&b, " | %s", p.ill(now))
	if late := p.late(); late > 0 {
		fmt.Fprintf(&b, " | record unsynced for %d ms", late.Milliseconds())
	}
	if leak, ok := p.live.Leak(); ok && (s.Phase == rig.Settle || s.Phase == rig.Hold) {
		fmt.Fprintf(&b, " | leak %.2f (%.2f to %.2f) ml/h", leak.Estimate, leak.Low, leak.High)
	}
	return b.String()
}

// lateSync: the record is to be on the disk within a second of any reading.
const lateSync = time.Second

// late says for how long the record has not been on the disk, 0 where it is in time.
func (p *progress) late() time.Duration {
	if p.unsynced == nil {
		return 0
	}
	if d := p.unsynced(); d > lateSync {
		return d
	}
	return 0
}

// disk is told how to ask for the record's way to the disk.
func (p *progress) disk(unsynced func() time.Duration) {
	p.unsynced = unsynced
	p.w.console.Disk(unsynced)
}

// plain rounds for a gauge: no minus before a zero.
func plain(v, per float64) float64 { return math.Round(v*per)/per + 0 }

// left is the planned time to the end of the phase; a ramp may take longer.
func (p *progress) left(now time.Duration, s *rig.State) time.Duration {
	leg := &p.plan.Legs[s.Leg]
	d := map[rig.Phase]time.Duration{rig.Ramp: leg.Ramp + leg.Steady, rig.Settle: leg.Settle, rig.Hold: leg.Hold}[s.Phase]
	return max(0, d-(now-s.Since))
}

func clock(d time.Duration) string {
	d = d.Round(time.Second)
	if d >= time.Hour {
		return fmt.Sprintf("%d:%02d:%02d", int(d.Hours()), int(d.Minutes())%60, int(d.Seconds())%60)
	}
	return fmt.Sprintf("%d:%02d", int(d.Minutes()), int(d.Seconds())%60)
}

// draw rewrites the line on the terminal.
func (p *progress) draw(text string) {
	p.drawn = time.Now()
	shown := []rune(text)
	if p.w.width != nil { // a line that wraps cannot be rewritten
		if most := max(p.w.width()-1, 20); len(shown) > most {
			shown = append(shown[:most-1], '…')
		}
	}
	text = string(shown)
	n := len(shown)
	fmt.Fprintf(p.w.errs, "\r%s%s", text, strings.Repeat(" ", max(0, p.width-n)))
	p.width = n
}

// say writes a line of its own.
func (p *progress) say(now time.Duration, text string) {
	p.said = now
	if p.width > 0 {
		fmt.Fprintf(p.w.errs, "\r%s\r", strings.Repeat(" ", p.width))
		p.width = 0
	}
	fmt.Fprintf(p.w.errs, "%s  %s\n", clock(now), text)
}

func (p *progress) close() {
	if p.width > 0 {
		fmt.Fprintln(p.w.errs)
		p.width = 0
	}
}
