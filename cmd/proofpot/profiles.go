package main

import (
	"errors"
	"fmt"
	"io/fs"
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

// Run lists the built-in profiles with their depth and time under pressure.
func (listProfilesCmd) Run(w *world) error {
	for _, name := range profiles.BuiltIn() {
		p, err := profiles.Load(name)
		if err != nil {
			return err
		}
		deepest, held := 0.0, 0.0
		for _, s := range p.Stages {
			deepest = max(deepest, s.DepthM)
			held += float64(max(s.Cycles, 1)) * (s.SettleS + s.HoldS)
		}
		fmt.Fprintf(w.out, "%-26s %2d stages to %5.1f m, %4.1f h of holds\n", name, len(p.Stages), deepest, held/3600)
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
