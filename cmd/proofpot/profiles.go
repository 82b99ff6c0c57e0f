package main

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"strings"

	"proofpot/profiles"
)

type profilesCmd struct {
	List listProfilesCmd `cmd:"" default:"1" help:"List the built-in profiles."`
	Show showProfileCmd  `cmd:"" help:"Print a built-in profile."`
	Copy copyProfileCmd  `cmd:"" help:"Copy a built-in profile into a file, as a start for one of your own."`
}

type listProfilesCmd struct{}

// Run lists the built-in profiles, each with its depth, its time and its purpose.
func (listProfilesCmd) Run(w *world) error {
	for _, name := range profiles.BuiltIn() {
		p, err := profiles.Load(name)
		if err != nil {
			return err
		}
		held := 0.0
		for _, s := range p.Stages {
			times := float64(max(s.Cycles, 1))
			if s.StepM > 0 && s.LastDepthM > 0 {
				times = math.Floor((s.LastDepthM-s.DepthM)/s.StepM+1e-9) + 1
			}
			held += times*(s.SettleS+s.HoldS) + (times-1)*s.LowHoldS
			for _, pause := range s.Pauses {
				held += pause.HoldS
			}
		}
		fmt.Fprintf(w.out, "%-22s %5.1f m %5.1f h  %s\n", name, p.DeepestM(), held/3600, p.Purpose)
	}
	return nil
}

type showProfileCmd struct {
	Name string `arg:"" help:"A built-in profile."`
}

// Run prints the profile as it is written.
func (c *showProfileCmd) Run(w *world) error {
	text, err := profiles.Source(c.Name)
	if err == nil {
		_, err = w.out.Write(text)
	}
	return err
}

type copyProfileCmd struct {
	Name string `arg:"" help:"A built-in profile."`
	File string `arg:"" help:"The file to write; it must not exist yet." placeholder:"FILE.TOML"`
}

// Run writes the file, and never over one that exists.
func (c *copyProfileCmd) Run(w *world) error {
	if !strings.HasSuffix(c.File, ".toml") {
		return fmt.Errorf("%s: a profile's file ends in .toml", c.File)
	}
	text, err := profiles.Source(c.Name)
	if err != nil {
		return err
	}
	f, err := os.OpenFile(c.File, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("%s exists already; nothing was written", c.File)
	}
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	return errors.Join(err, f.Close())
}
