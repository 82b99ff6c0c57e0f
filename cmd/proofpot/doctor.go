package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"proofpot/analysis/register/files"
	"proofpot/profiles"
	"proofpot/rig"
	"proofpot/rig/benchstate"
	"proofpot/rig/record/signing"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

type doctorCmd struct {
	Bench string `help:"File that describes the bench; without it, what any bench on this computer needs." placeholder:"BENCH.TOML"`
	stateFlag
	keyFlag
	registered
	Records string `help:"Folder for records, whose disk must have room." default:"records"`
}

// Help is shown by proofpot doctor --help.
func (doctorCmd) Help() string {
	return `Says what is wrong with a bench, a sentence each, with the command that mends it: its file, the devices that it names and
who may open them, the computer's clock and disk, the key, what was measured of the bench and until when that stands,
what the bench remembers (a lock-out, a run that was cut off), the register. It opens no device and moves nothing.
Exit code 1 says that something is wrong.

Example: proofpot doctor --bench bench.toml`
}

// finding is one thing that was looked at.
type finding struct {
	what  string // so, or not so
	wrong bool
	mend  string // the command, or what to do; empty where nothing is wrong
}

// patient collects findings.
type patient struct{ found []finding }

func (p *patient) well(format string, args ...any) {
	p.found = append(p.found, finding{what: fmt.Sprintf(format, args...)})
}

func (p *patient) ill(mend, format string, args ...any) {
	p.found = append(p.found, finding{fmt.Sprintf(format, args...), true, mend})
}

// Run looks at everything and says what is wrong.
func (c *doctorCmd) Run(w *world) error {
	var p patient
	p.computer(c.Records, time.Now())
	p.key(&c.keyFlag)
	p.register(c.registered.store())
	if c.Bench != "" {
		c.bench(&p)
	}
	wrong := 0
	for _, f := range p.found {
		if !f.wrong {
			fmt.Fprintf(w.out, "ok  %s\n", f.what)
			continue
		}
		wrong++
		fmt.Fprintf(w.out, "NO  %s\n    mend: %s\n", f.what, f.mend)
	}
	if wrong == 0 {
		fmt.Fprintln(w.out, "nothing is wrong that can be seen without opening a device; proofpot sensors and preflight look further")
		return nil
	}
	fmt.Fprintf(w.out, "%d wrong\n", wrong)
	return answer(exitNo)
}

// least is the room that a long run needs: a soak of 72 h at ten readings a
// second writes some 500 MB.
const least = 1 << 30

func (p *patient) computer(records string, now time.Time) {
	switch b := built(); {
	case now.Year() < 2024 || !b.IsZero() && now.Before(b):
		p.ill("sudo timedatectl set-ntp true, or sudo date --set '2026-03-14 08:15'", "the clock says %s, before this program was built", now.Format(time.DateTime))
	default:
		p.well("the clock says %s", now.Format(time.DateTime))
	}
	free, err := freeBytes(records)
	switch {
	case err != nil:
		p.ill("give another folder: --records DIR", "the disk of %s cannot be asked for its room: %v", records, err)
	case free < least:
		p.ill("move records to another disk, or proofpot records --help says how to compress them", "%d MB are free for %s; a long run needs %d MB", free>>20, records, least>>20)
	default:
		p.well("%.1f GB are free for %s", float64(free)/1e9, records)
	}
	if err := writable(records); err != nil {
		p.ill("sudo chown $USER "+records+", or give another folder: --records DIR", "no record can be written to %s: %v", records, err)
	}
}

// writable tries to write where a folder lies, or will lie.
func writable(dir string) error {
	for {
		if _, err := os.Stat(dir); err == nil || filepath.Dir(dir) == dir {
			break
		}
		dir = filepath.Dir(dir)
	}
	f, err := os.CreateTemp(dir, ".doctor")
	if err != nil {
		return err
	}
	return errors.Join(f.Close(), os.Remove(f.Name()))
}

func (p *patient) key(k *keyFlag) {
	file, err := k.file()
	if err != nil {
		p.ill("give --key FILE", "%v", err)
		return
	}
	info, err := os.Stat(file)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		p.well("there is no key %s: records are chained and not signed (proofpot key new makes one)", file)
		return
	case err != nil:
		p.ill("ls -l "+file, "the key cannot be looked at: %v", err)
		return
	}
	if info.Mode().Perm()&0o077 != 0 && os.PathSeparator == '/' {
		p.ill("chmod 600 "+file, "others may read the secret key %s", file)
	}
	pub, err := signing.LoadPublic(signing.PublicFile(file))
	if err != nil {
		p.ill("proofpot key backup copies both halves: take the public one from there", "the public half of %s cannot be read: %v", file, err)
		return
	}
	p.well("records are signed by key %s", pub.ID())
}

func (p *patient) register(store files.Store) {
	if _, err := os.Stat(store.Root); errors.Is(err, fs.ErrNotExist) {
		p.well("there is no register %s yet (proofpot unit close begins it)", store.Root)
		return
	}
	if _, err := store.Rules(); err != nil {
		p.ill("correct the line that it names", "the register's rules cannot be read: %v", err)
	}
	events, err := store.Events()
	if err != nil {
		p.ill("correct the file that it names, or take it back from its version control", "the register cannot be read: %v", err)
		return
	}
	p.well("the register %s has %d events", store.Root, len(events))
}

func (c *doctorCmd) bench(p *patient) {
	b, err := setup.LoadBench(c.Bench)
	if err != nil {
		p.ill("correct that line of it, or write it anew: proofpot setup", "%v", err)
		return
	}
	p.well("%s describes bench %s", c.Bench, b.ID)
	for _, d := range devicesOf(b) {
		p.device(d)
	}
	p.ratings(b)
	p.measured(c.Bench, b, time.Now())
	c.remembers(p, b)
}

func (p *patient) ratings(b setup.Bench) {
	if b.ReliefPa == 0 {
		p.ill("fit a relief valve at or below the rating, and give relief_bar_gauge", "bench %s has no relief valve", b.ID)
	}
	lid, stop := false, false
	for _, s := range b.Sensors {
		q, _ := sensors.QuantityNamed(s.Measures)
		lid, stop = lid || q == sensors.LidOpen, stop || q == sensors.StopOpen
		if q == sensors.ChamberPressure && s.AccuracyPa == 0 {
			p.ill("give accuracy_pa of sensor "+s.ID+", from its data sheet", "sensor %s does not say how true it is", s.ID)
		}
		if q == sensors.ChamberPressure && s.NoisePa == 0 {
			p.ill("proofpot sensors --bench FILE --once --for 25s shows it: write it as noise_pa", "sensor %s does not say how quiet it is", s.ID)
		}
	}
	if !b.HandOperated && !stop {
		p.ill("fit one and describe it as a sensor that measures \"emergency stop\"", "bench %s drives valves and has no emergency stop that it can see", b.ID)
	}
	if !b.HandOperated && !lid {
		p.ill("fit one and describe it as a sensor that measures \"lid switch\"", "bench %s drives valves and does not see its lid", b.ID)
	}
	if b.HandOperated {
		return
	}
	switch b.Backstop() {
	case setup.ByRelay:
		p.well("a watchdog relay takes the valves' power when the heartbeat stops; each run tries it first")
	case setup.ByBoard:
		p.well("the relay board ends each opening of the fill by itself; a watchdog relay would open the vent as well")
	case setup.ByPerson:
		p.well("somebody stays at the supply's cock (attended): limits lie lower by %s of the fastest ramp", rig.AttendedTime)
	default:
		p.ill("fit a watchdog relay, which takes the valves' power, and describe it as [heartbeat]; or a relay board that ends its pulses: pulse_text; or stay at the supply's cock for the whole of each run: attended = true",
			"no watchdog relay: nothing shuts a fill that stands open when this program or its link dies, and no run begins")
	}
}

func (p *patient) measured(file string, b setup.Bench, now time.Time) {
	m, err := setup.LoadMeasured(file)
	if err != nil {
		p.ill("correct that line, or move "+setup.MeasuredFile(file)+" away and measure again", "%v", err)
		return
	}
	if len(m.Blanks) == 0 {
		p.ill("proofpot blank --bench "+file, "no blank was run: what the bench itself leaks is not known")
	}
	if m.Stiffness == nil && b.Medium == setup.MediumWater {
		p.ill("proofpot stiffness --cup --bench "+file, "the stiffness was never measured: leaks in ml/h are as wrong as its guess")
	}
	as := b
	for _, text := range m.Apply(&as, now, waterUnknown) {
		p.ill("measure again: proofpot blank, stiffness or known-leak --bench "+file, "%s", text)
	}
	if n := len(m.Blanks); n > 0 {
		p.well("the last blank is of %s and stands until %s", m.Blanks[n-1].At.Format(time.DateOnly), m.Blanks[n-1].ValidUntil.Format(time.DateOnly))
	}
	if s := m.Stiffness; s != nil {
		p.well("the stiffness is of %s and stands until %s", s.At.Format(time.DateOnly), s.ValidUntil.Format(time.DateOnly))
	}
	if profile, err := profiles.Load(proveProfile); err == nil {
		sheet := supposed(setup.Run{Format: setup.RunFormat, Profile: profile, Bench: as, Unit: setup.Unit{ID: "unit", FreeVolumeML: 500}})
		if _, err := rig.NewPlan(sheet); err != nil {
			p.ill("proofpot plan "+proveProfile+" --bench "+file+" --unit UNIT.TOML says it at length", "even %s is refused on this bench: %v", proveProfile, err)
		}
	}
}

// remembers looks at the bench's state without making a folder for it.
func (c *doctorCmd) remembers(p *patient, b setup.Bench) {
	base := c.State
	if base == "" {
		var err error
		if base, err = benchstate.DefaultBase(os.Getenv); err != nil {
			p.ill("export HOME, or give --state DIR", "%v", err)
			return
		}
	}
	if _, err := os.Stat(filepath.Join(base, b.ID)); errors.Is(err, fs.ErrNotExist) {
		if err := writable(base); err != nil {
			p.ill("sudo chown $USER "+base+", or give --state DIR", "what bench %s remembers cannot be kept below %s: %v", b.ID, base, err)
			return
		}
		p.well("bench %s remembers nothing yet", b.ID)
		return
	}
	dir, err := benchstate.Open(base, b.ID)
	if err == nil {
		err = writable(filepath.Dir(dir.Path("state")))
	}
	if err != nil {
		p.ill("sudo chown -R $USER "+filepath.Join(base, b.ID), "what bench %s remembers cannot be kept: %v", b.ID, err)
		return
	}
	state, err := dir.Load()
	if err != nil {
		p.ill("read it, see that the bench is safe, and move the file away", "%v", err)
		return
	}
	lock, err := dir.Lock(b.ID, "doctor", time.Now())
	var held *benchstate.HeldError
	switch {
	case errors.As(err, &held):
		p.well("%v", held)
		return
	case err != nil:
		p.ill("ls -l "+dir.Path("lock"), "%v", err)
		return
	}
	defer lock.Release()
	if l := state.Lockout; l != nil {
		p.ill("find out why, then: proofpot acknowledge "+c.Bench, "bench %s is locked out since %s: %s", b.ID, l.At.Local().Format(time.DateTime), l.Reason)
	}
	if r := state.Running; r != nil {
		p.ill("proofpot resume "+r.Record+", or proofpot acknowledge "+c.Bench, "the run that began %s was cut off, and the chamber may be under pressure", r.Since.Local().Format(time.DateTime))
	}
	if state.Lockout == nil && state.Running == nil {
		p.well("bench %s is free, and not locked out", b.ID)
	}
	if state.LastRecord.After(time.Now().Add(time.Minute)) {
		p.ill("sudo timedatectl set-ntp true", "the last record ended %s by the clock, which is ahead of now: the clock has gone back", state.LastRecord.Local().Format(time.DateTime))
	}
}
