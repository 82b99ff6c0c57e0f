package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"

	"path/filepath"
	"slices"
	"strings"
	"time"

	"proofpot/analysis/certificate/plots"
	"proofpot/analysis/register"
	"proofpot/analysis/register/files"
	"proofpot/cmd/proofpot/page"
	"proofpot/profiles"
	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
)

type serveCmd struct {
	paperwork
	stateFlag
	simFlags
	registered
	Listen      string  `help:"Where the page is served. Anything but loopback needs the pairing codes that are printed, and is HTTPS." default:"127.0.0.1:8330" placeholder:"ADDRESS"`
	Pair        bool    `help:"Ask for the pairing codes on this machine too, by HTTPS."`
	ViewCode    string  `help:"Pairing code for those who may see and abort; without it, a new one." env:"PROOFPOT_VIEW_CODE"`
	ControlCode string  `help:"Pairing code for those who may command; without it, a new one." env:"PROOFPOT_CONTROL_CODE"`
	Cert        string  `help:"Certificate of the server, PEM; without it, one of its own." placeholder:"FILE"`
	CertKey     string  `help:"Its key, PEM." placeholder:"FILE"`
	Records     string  `help:"Folder for records." default:"records"`
	Bench       string  `help:"File that describes the bench; without it, the simulated bench." placeholder:"BENCH.TOML"`
	Units       string  `help:"Folder of unit.toml files to choose from." default:"units" placeholder:"DIR"`
	GoOn        bool    `help:"Go on at once with a run that a power cut or a crash ended, where the pressure was held; where it was not, wait for a person."`
	ByHand      bool    `help:"Simulated bench: with a hand pump instead of valves."`
	Pace        float64 `help:"Simulated bench: simulated seconds a second." default:"1"`
}

// Help is shown by proofpot serve --help.
func (serveCmd) Help() string {
	return `Serves the operator's page of one bench. Open the address that it prints with any browser on this machine.
For a telephone on the same network: --listen 0.0.0.0:8330; it prints the codes to enter there, and the fingerprint of
its certificate to compare. Ctrl-C aborts a run that is under way, vents, and ends.

With --go-on, which the service of the package has, a soak survives a power cut: the bench is looked at, and where the
pressure was held (on_power_loss = "hold", or a cock shut by hand) the hold goes on in the same record. Where it was lost
or nobody can tell, nothing is pressurised: the valves are left safe, and the page offers the run to whoever comes.

Example: proofpot serve --bench bench.toml --units units`
}

// Run serves until it is told to stop.
func (c *serveCmd) Run(w *world) error {
	host, _, err := net.SplitHostPort(c.Listen)
	if err != nil {
		return fmt.Errorf("--listen %s: %w; write it as 127.0.0.1:8330", c.Listen, err)
	}
	ip := net.ParseIP(host)
	local := !c.Pair && (host == "localhost" || ip != nil && ip.IsLoopback())
	b := &pageBench{cmd: c, w: w}
	if _, err := b.Choices(); err != nil {
		return err
	}
	opts := page.Options{Local: local, Records: c.Records}
	if !local {
		opts.Codes = page.Codes{Control: c.ControlCode, View: c.ViewCode}
		if opts.Codes.Control == "" {
			opts.Codes.Control = page.NewCode()
		}
		if opts.Codes.View == "" {
			opts.Codes.View = page.NewCode()
		}
	}
	listener, err := net.Listen("tcp", c.Listen)
	if err != nil {
		return coded{exitBench, fmt.Errorf("--listen: %w", err)}
	}
	// The run must outlive the server's own end: it is aborted and vented first.
	runs, abort := context.WithCancel(context.Background())
	defer abort()
	s := page.New(runs, b, opts)
	server := &http.Server{Handler: s.Handler(), ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 60 * time.Second, IdleTimeout: 2 * time.Minute,
		MaxHeaderBytes: 16 << 10, ErrorLog: quietLog()}
	scheme := "http"
	if !local {
		scheme = "https"
		var fingerprint string
		if server.TLSConfig, fingerprint, err = c.tls(listener.Addr()); err != nil {
			return errors.Join(err, listener.Close())
		}
		fmt.Fprintf(w.out, "code to command: %s\ncode to see and abort: %s\ncertificate (SHA-256): %s\n", opts.Codes.Control, opts.Codes.View, fingerprint)
	}
	fmt.Fprintf(w.out, "%s://%s/\n", scheme, listener.Addr())
	if w.alive, err = openAlive(); err != nil {
		return errors.Join(coded{exitBench, err}, listener.Close())
	}
	go w.alive.goOn(runs.Done())
	failed := make(chan error, 1)
	go func() {
		if local {
			failed <- server.Serve(page.Limited(listener))
		} else {
			failed <- server.ServeTLS(page.Limited(listener), "", "")
		}
	}()
	if c.GoOn {
		if err := b.goOnAlone(s); err != nil {
			fmt.Fprintf(w.errs, "not gone on with by itself: %v\n", err)
		}
	}
	select {
	case err = <-failed:
		err = coded{exitBench, err}
	case <-w.ctx.Done():
	}
	abort()
	s.Wait()
	end, cancel := context.WithTimeout(context.Background(), 3*time.Second)
	defer cancel()
	if server.Shutdown(end) != nil {
		_ = server.Close()
	}
	return err
}

// pageBench does for the page what the verbs do in a terminal.
type pageBench struct {
	cmd *serveCmd
	w   *world
}

const builtInUnit = "the simulated bench's"

// Choices implements page.Bench.
func (b *pageBench) Choices() (page.Choices, error) {
	c := page.Choices{Simulated: b.cmd.Bench == ""}
	bench, err := b.bench()
	if err != nil {
		return c, err
	}
	c.Bench = bench.ID
	for _, s := range bench.Sensors {
		if !c.Simulated && strings.HasSuffix(s.Measures, "pressure") {
			line := page.CalibrationLine{Sensor: s.ID}
			if k := s.Calibration; k != nil {
				line.Date, line.Due, line.Doubts = k.Date, k.Due, k.Doubts(time.Now())
			}
			c.Calibrations = append(c.Calibrations, line)
		}
	}
	found, err := filepath.Glob(filepath.Join(b.cmd.Units, "*.toml"))
	if err != nil {
		return c, err
	}
	for _, file := range found {
		c.Units = append(c.Units, strings.TrimSuffix(filepath.Base(file), ".toml"))
	}
	if c.Simulated {
		c.Units = append(c.Units, builtInUnit)
	}
	if len(c.Units) == 0 {
		return c, fmt.Errorf("no unit to test: put a unit.toml for each into the folder %q, or name another with --units", b.cmd.Units)
	}
	for _, name := range profiles.BuiltIn() {
		p, err := profiles.Load(name)
		if err != nil {
			return c, err
		}
		c.Profiles = append(c.Profiles, page.Named{Name: name, Text: p.Purpose})
	}
	return c, nil
}

func (b *pageBench) bench() (setup.Bench, error) {
	switch {
	case b.cmd.Bench != "":
		return setup.LoadBench(b.cmd.Bench)
	case b.cmd.ByHand:
		return simbench.BuiltInHandBench(), nil
	}
	return simbench.BuiltInBench(), nil
}

// command is the run verb for a choice.
func (b *pageBench) command(c page.Choice) (*runCmd, error) {
	r := &runCmd{paperwork: b.cmd.paperwork, stateFlag: b.cmd.stateFlag, simFlags: b.cmd.simFlags, Records: b.cmd.Records, Acknowledge: c.Acknowledged,
		Wait: 2 * time.Minute, AcceptInconclusive: c.AcceptInconclusive, Pace: b.cmd.Pace}
	r.Bench, r.ByHand = b.cmd.Bench, b.cmd.ByHand
	if b.cmd.Bench != "" {
		r.simFlags, r.Pace = simFlags{}, 0
	}
	if !slices.Contains(profiles.BuiltIn(), c.Profile) {
		return nil, fmt.Errorf("profile %q is not one of the list", c.Profile)
	}
	r.Profile = c.Profile
	choices, err := b.Choices()
	if err != nil {
		return nil, err
	}
	if !slices.Contains(choices.Units, c.Unit) {
		return nil, fmt.Errorf("unit %q is not one of the list", c.Unit)
	}
	if c.Unit != builtInUnit {
		r.Unit = filepath.Join(b.cmd.Units, c.Unit+".toml")
	}
	return r, nil
}

// Plan implements page.Bench.
func (b *pageBench) Plan(c page.Choice) (page.PlanView, error) {
	var v page.PlanView
	r, err := b.command(c)
	if err != nil {
		return v, err
	}
	sheet, err := r.sheet()
	if err != nil {
		return v, err
	}
	v.Cautions = cautions(sheet)
	sheet = supposed(sheet)
	p, err := rig.Foresee(sheet)
	if err != nil {
		return v, err
	}
	drawn, err := plots.Plan(p)
	if err != nil {
		return v, err
	}
	v.Text, v.SVG, v.CanProve = p.Text(time.Now()), string(drawn.SVG()), p.CanProve()
	if _, err := rig.NewPlan(sheet); err != nil {
		v.Refused = err.Error()
	}
	return v, nil
}

// away is the world of a run that nobody's terminal belongs to.
func (b *pageBench) away(ctx context.Context) *world {
	return &world{ctx: ctx, in: strings.NewReader(""), out: io.Discard, errs: b.w.errs, alive: b.w.alive}
}

// Preflight implements page.Bench.
func (b *pageBench) Preflight(ctx context.Context, c page.Choice, on *page.Console) ([]rig.Check, error) {
	r, err := b.command(c)
	if err != nil {
		return nil, err
	}
	sheet, err := r.sheet()
	if err != nil {
		return nil, err
	}
	f := flight{w: b.away(ctx), run: sheet, records: b.cmd.Records, wait: r.Wait, show: on.Checks}
	f.before.Acknowledged = c.Acknowledged
	if r.Bench != "" {
		if f.held, err = r.take(sheet.Bench.ID, "preflight"); err != nil {
			return nil, err
		}
		defer f.held.release()
	}
	err = f.look(func() (rig.Devices, rig.Clock, error) { return r.devices(sheet) })
	if f.devices != nil {
		err = errors.Join(err, f.devices.Close())
	}
	return f.checks(), err
}

// Run implements page.Bench.
func (b *pageBench) Run(ctx context.Context, c page.Choice, on *page.Console) (page.Outcome, error) {
	r, err := b.command(c)
	if err != nil {
		return page.Outcome{}, err
	}
	var out page.Outcome
	papers, err := r.paperwork.prepare()
	if err != nil {
		return out, err
	}
	papers.register = b.register()
	w := b.away(ctx)
	w.console = on
	sheet, err := r.sheet()
	if err != nil {
		return out, err
	}
	if err := r.plannable(w, sheet); err != nil {
		return out, err
	}
	w.tell = newTeller(w, r.notices, sheet)
	folder, stopped, err := r.perform(w, sheet, "serve")
	if stopped != rig.NotStopped {
		out.Stopped = stopped.String()
	}
	if folder != "" {
		out.Record = filepath.Base(folder)
		res, derr := papers.derive(w, folder, err)
		if derr != nil {
			return out, derr
		}
		v := &res.Verdict
		out.Verdict, out.Rated, out.Proved, out.Reasons = v.Verdict, v.RatedDepthM, v.ProvedDepthM, v.Reasons
	}
	var said answer
	if errors.As(err, &said) {
		err = nil
		if said == exitStopped && out.Stopped == "" { // before there was a record
			out.Stopped = rig.ByOperator.String()
		}
	}
	return out, err
}

// Resume implements page.Bench.
func (b *pageBench) Resume(ctx context.Context, name string, on *page.Console) (page.Outcome, error) {
	return b.resume(ctx, name, on, false)
}

func (b *pageBench) resume(ctx context.Context, name string, on *page.Console, unattended bool) (page.Outcome, error) {
	folder := filepath.Join(b.cmd.Records, name)
	out := page.Outcome{Record: name}
	c := &resumeCmd{Record: folder, stateFlag: b.cmd.stateFlag, paperwork: b.cmd.paperwork, Acknowledge: true, Pace: b.cmd.Pace, Gap: 10 * time.Minute, PowerLoss: "vent", unattended: unattended}
	papers, err := c.prepare()
	if err != nil {
		return out, err
	}
	papers.register = b.register()
	w := b.away(ctx)
	w.console = on
	on.Folder(folder)
	stopped, err := c.perform(w)
	if stopped != rig.NotStopped {
		out.Stopped = stopped.String()
	}
	if err != nil && stopped == rig.NotStopped && !errors.Is(err, rig.ErrDevice) {
		return out, err
	}
	res, derr := papers.derive(w, folder, err)
	if derr != nil {
		return out, derr
	}
	v := &res.Verdict
	out.Verdict, out.Rated, out.Proved, out.Reasons = v.Verdict, v.RatedDepthM, v.ProvedDepthM, v.Reasons
	return out, err
}

// Analyse implements page.Bench.
func (b *pageBench) Analyse(name string) (page.Outcome, error) {
	folder := filepath.Join(b.cmd.Records, name)
	res, run, err := analyse(folder)
	if err != nil {
		return page.Outcome{}, err
	}
	opts, err := b.cmd.options()
	if err != nil {
		return page.Outcome{}, err
	}
	if err := errors.Join(writeVerdict(folder, res), writeCertificate(folder, run, res, opts)); err != nil {
		return page.Outcome{}, err
	}
	v := &res.Verdict
	return page.Outcome{Record: name, Verdict: v.Verdict, Rated: v.RatedDepthM, Proved: v.ProvedDepthM, Reasons: v.Reasons}, nil
}

// Records implements page.Bench.
func (b *pageBench) Records() ([]page.RecordLine, error) { return page.List(b.cmd.Records) }

// register is where the page's tests are entered: the register, once there is one.
func (b *pageBench) register() string {
	if info, err := os.Stat(b.cmd.Register); err != nil || !info.IsDir() {
		return ""
	}
	return b.cmd.Register
}

// Units implements page.Bench: the register's units, or none.
func (b *pageBench) Units() ([]page.UnitLine, error) {
	rules, err := b.cmd.store().Rules()
	if err != nil {
		return nil, err
	}
	events, err := b.cmd.store().Events()
	if err != nil {
		return nil, err
	}
	var lines []page.UnitLine
	for _, unit := range files.Units(events) {
		s, err := register.At(files.Now(), unit, events, rules)
		if err != nil {
			return nil, err
		}
		line := page.UnitLine{Unit: unit, Standing: standingLine(s), Valid: s.Valid}
		if s.Valid {
			line.Until = s.Until.UTC().Format(time.DateOnly)
		}
		lines = append(lines, line)
	}
	return lines, nil
}
