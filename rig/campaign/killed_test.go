package campaign

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"proofpot/rig"
	"proofpot/rig/record"
	"proofpot/rig/replay"
	"proofpot/rig/simbench"
	"proofpot/sensors"
)

// errKilled ends a process in the middle of its work.
var errKilled = errors.New("killed")

// left is a bench whose process ends without a word: nobody closes it.
type left struct{ *simbench.Bench }

// Close implements rig.Devices.
func (left) Close() error { return nil }

// playKilled runs a scenario whose process is killed: the record is cut at a
// byte of its last seconds, the bench holds or vents meanwhile, and the run goes
// on in the same record, as proofpot resume does it, or is refused with a reason.
func (t *trial) playKilled() error {
	dir, err := os.MkdirTemp("", "killed")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	folder, f, err := record.Create(dir, t.start, t.run)
	if err != nil {
		return err
	}
	w := record.NewWriter(f, t.start)
	w.Wait = true
	w.Run(0, "start", "campaign")
	loop := t.loop(w)
	loop.Devices = left{t.bench}
	func() {
		defer func() {
			if r := recover(); r != nil && r != errKilled { //nolint:errorlint // the very value
				panic(r)
			}
		}()
		err = loop.Run(context.Background())
	}()
	if cerr := w.Close(); err != nil || cerr != nil {
		return errors.Join(err, cerr)
	}
	if t.out.stopped = loop.State().Stopped; loop.State().Phase == rig.Done {
		t.out.refused = "the run had ended"
		return nil
	}
	name := filepath.Join(folder, record.ReadingsFile)
	size, err := os.Stat(name)
	if err != nil {
		return err
	}
	if err := os.Truncate(name, size.Size()-int64(t.roll.IntN(int(min(size.Size(), 8000))))); err != nil {
		return err
	}
	cutAt := t.clock.Now()
	if t.byHand { // he sees the screen go dead, and takes his hands off
		t.bench.Prompt(cutAt, rig.Prompt{Kind: rig.StopPumping})
	}
	vented := t.roll.IntN(2) == 0 // as its valves rest
	t.bench.Leave(cutAt)
	if backstop == withRelay {
		fallen := rig.Instant{Mono: cutAt.Mono + relayFalls, Wall: cutAt.Wall.Add(relayFalls)}
		if err := t.bench.Drive(fallen, rig.Valves{Vent: vented}); err != nil {
			return err
		}
	}
	if err := t.goOn(folder, cutAt.Mono+time.Duration(10+t.roll.IntN(1800))*time.Second); err != nil {
		return err
	}
	if t.out.refused != "" {
		return nil
	}
	return t.sameAgain(folder)
}

// goOn resumes the run at a time.
func (t *trial) goOn(folder string, at time.Duration) error {
	r, err := record.Open(folder)
	if err != nil {
		t.out.refused = err.Error()
		return nil
	}
	cut, err := replay.Recover(r, nil)
	r.Close()
	if err != nil {
		_, t.out.refused, _ = strings.Cut(err.Error(), "cannot be resumed: ")
		return nil
	}
	t.clock.WaitUntil(context.Background(), at)
	if backstop != withRelay && !t.byHand { // whoever opens the bench shuts its fill first
		if err := t.bench.Drive(t.clock.Now(), rig.Valves{Vent: t.stand.Vent}); err != nil {
			return err
		}
	}
	w, found, err := record.Resume(folder, t.start.Add(at))
	if err != nil {
		return err
	}
	w.Wait = true
	w.Since(cut.Start)
	saw, since := t.saw, found.From.UnixNano()
	t.saw, t.before = 0, 0 // what came between was no step of the supply's
	t.bench.Read(t.clock.Now(), nil)
	var after rig.Side
	var rs []sensors.Reading
	for end := at + replay.LookTime; t.clock.Now().Mono < end; {
		t.clock.WaitUntil(context.Background(), t.clock.Now().Mono+t.plan.Period)
		rs = t.bench.Read(t.clock.Now(), rs[:0])
		w.Readings(rs)
		for i := range rs {
			after.See(&rs[i], t.plan.Chamber)
			if rs[i].Quantity == sensors.ChamberPressure && rs[i].Status == sensors.OK {
				t.saw++
			}
		}
	}
	gap := rig.Gap{Length: found.From.Sub(time.Unix(0, found.LastNS)), ClockTrusted: true, Before: cut.Before.Ends(), After: after.Ends()}
	outcome, text := rig.JudgeGap(t.run, cut.Plan.RoomPa, gap)
	now := t.clock.Now().Mono
	w.Run(now, "resume", replay.GapText+text)
	loop := t.loop(w)
	loop.Start = cut.Plan.Resume(cut.State, now, gap.After.Pa, outcome == rig.GapHeld, cut.Told)
	err = loop.Run(context.Background())
	if cerr := w.Close(); cerr != nil {
		return cerr
	}
	if err != nil && !errors.Is(err, rig.ErrDevice) {
		return err
	}
	t.out.stopped = loop.State().Stopped
	f, err := os.Open(filepath.Join(folder, record.ReadingsFile))
	if err != nil {
		return err
	}
	defer f.Close()
	h := content(f, since)
	if h.broken != "" {
		t.out.unsafe = h.broken
	}
	t.out.lost, t.out.taken = t.saw-h.later, saw-(h.pressures-h.later)
	return nil
}

// sameAgain replays the record over its gap: the same commands.
func (t *trial) sameAgain(folder string) error {
	r, err := record.Open(folder)
	if err != nil {
		return err
	}
	defer r.Close()
	res, err := replay.Run(r)
	if err == nil && res.Difference != "" {
		err = fmt.Errorf("the replay differs: %s", res.Difference)
	}
	return err
}

// TestACutInTheMiddleOfAStepsLinesReplays: the whole campaign came upon these. The
// record held the end of a pulse and not the step that it was written with, and the
// replay, which takes no step that it does not know, had a command less.
func TestACutInTheMiddleOfAStepsLinesReplays(t *testing.T) {
	for _, sc := range []scenario{
		{profile: "blank-30m-sea", stage: "hold vent", from: 1308401019095, bench: 10000, seed: 10008},
		{profile: "powered-20m-sea", stage: "hold ramp", from: 47952809098, bench: 50000, seed: 50009},
	} {
		sc.fault = killed
		for range benches {
			if out := play(sc); out.unsafe != "" || out.lost != 0 {
				t.Errorf("%s: %s, %d readings lost", sc, out.unsafe, out.lost)
			}
			sc.bench++
		}
	}
}
