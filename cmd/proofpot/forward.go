package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"proofpot/analysis/catalogue"
	"proofpot/rig/benchstate"
	"proofpot/rig/record"
	"proofpot/rig/record/forward"
)

// tokenVariable names the environment variable with an engine's token.
const tokenVariable = "PROOFPOT_FORWARD_TOKEN"

type forwardCmd struct {
	Only      []string      `arg:"" optional:"" name:"record" help:"Folders of records; without them, all of --records." placeholder:"RECORD"`
	Engine    string        `required:"" help:"Address that takes line protocol: http://HOST:8428/write, http://HOST:8086/write?db=NAME, …/api/v2/write?org=…&bucket=…" placeholder:"URL"`
	TokenFile string        `help:"File with the engine's token; without it, PROOFPOT_FORWARD_TOKEN." placeholder:"FILE"`
	Records   string        `help:"Folder of records." default:"records"`
	Follow    bool          `help:"Go on for ever: what a run adds is sent as it comes."`
	Patience  time.Duration `help:"How long the engine may be away before this gives up; with --follow it never does." default:"2m"`
	State     string        `help:"Folder for what is remembered of each record." placeholder:"FOLDER"`

	told time.Time
}

// tellEvery bounds what is said of lines that arrive.
const tellEvery = time.Minute

// lookEvery is how often records are looked at for what was added.
const lookEvery = time.Second

// Run sends what the engine does not have yet.
func (c *forwardCmd) Run(w *world) error {
	f, err := c.forwarder(w)
	if err != nil {
		return err
	}
	seen := map[string]catalogue.Entry{} // as it was when all of it had been sent
	for {
		sent, err := c.once(w, f, seen)
		if w.ctx.Err() != nil {
			return answer(exitStopped)
		}
		if err != nil {
			return coded{exitBench, err}
		}
		if !c.Follow {
			fmt.Fprintf(w.out, "%d lines were sent\n", sent)
			return nil
		}
		if err := forward.Sleep(w.ctx, lookEvery); err != nil {
			return answer(exitStopped)
		}
	}
}

func (c *forwardCmd) forwarder(w *world) (*forward.Forwarder, error) {
	token := os.Getenv(tokenVariable)
	if c.TokenFile != "" {
		data, err := os.ReadFile(c.TokenFile)
		if err != nil {
			return nil, err
		}
		token = strings.TrimSpace(string(data))
	}
	engine, err := forward.NewEngine(c.Engine, token)
	if err != nil {
		return nil, fmt.Errorf("--engine: %w", err)
	}
	if engine.Exposed() {
		fmt.Fprintln(w.errs, "the token goes over the network as plain text: take https where others share it")
	}
	state := c.State
	if state == "" {
		if state, err = benchstate.DefaultBase(os.Getenv); err != nil {
			return nil, err
		}
	}
	f := &forward.Forwarder{Engine: engine, State: state, Patience: c.Patience, Wait: forward.Sleep,
		Say: func(text string) { fmt.Fprintln(w.errs, text) }}
	if c.Follow {
		f.Patience = 0
	}
	return f, nil
}

// once sends what is new in each record. A record that cannot be read is named and passed over.
func (c *forwardCmd) once(w *world, f *forward.Forwarder, seen map[string]catalogue.Entry) (sent int64, err error) {
	var entries []catalogue.Entry
	folders := map[string]string{}
	for _, folder := range c.Only {
		abs, err := filepath.Abs(folder)
		if err != nil {
			return sent, err
		}
		entries = append(entries, catalogue.Entry{Name: filepath.Base(abs), Bytes: size(folder)})
		folders[filepath.Base(abs)] = folder
	}
	if len(c.Only) == 0 {
		if entries, err = catalogue.List(c.Records); err != nil {
			return sent, err
		}
	}
	for _, e := range entries {
		if old, ok := seen[e.Name]; ok && old.Bytes == e.Bytes && old.Packed == e.Packed && !f.Unsettled(e.Name) {
			continue
		}
		folder, ok := folders[e.Name]
		if !ok {
			folder = filepath.Join(c.Records, e.Name)
		}
		p, err := f.Record(w.ctx, folder)
		sent += p.Now
		var engine forward.EngineError
		switch {
		case w.ctx.Err() != nil, errors.As(err, &engine), errors.Is(err, context.Canceled):
			return sent, err
		case err != nil && len(c.Only) > 0:
			return sent, err
		case err != nil:
			fmt.Fprintf(w.errs, "passed over: %v\n", err)
		case p.Now > 0 && (!c.Follow || time.Since(c.told) >= tellEvery):
			c.told = time.Now()
			fmt.Fprintf(w.errs, "%s: %d lines sent, %d refused\n", e.Name, p.Lines, p.Refused)
		}
		seen[e.Name] = e
	}
	return sent, nil
}

// size gives the bytes of a record's readings as they lie there.
func size(folder string) int64 {
	for _, name := range []string{record.ReadingsFile, record.CompressedFile} {
		if info, err := os.Stat(filepath.Join(folder, name)); err == nil {
			return info.Size()
		}
	}
	return 0
}
