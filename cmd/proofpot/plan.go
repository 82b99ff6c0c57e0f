package main

import (
	"fmt"
	"os"
	"path/filepath"
	"time"

	"proofpot/analysis/certificate/plots"
	"proofpot/profiles/plan"
	"proofpot/rig"
	"proofpot/rig/record"
)

type planCmd struct {
	setting
	Picture string `help:"Write the picture of pressure over time, .svg or .png." placeholder:"FILE"`
}

// Run says what a run would do, and what it could prove.
func (c *planCmd) Run(w *world) error {
	sheet, err := c.sheet()
	if err != nil {
		return err
	}
	for _, text := range c.warnings {
		fmt.Fprintln(w.errs, text)
	}
	p, err := rig.Foresee(sheet)
	if err != nil {
		return err
	}
	fmt.Fprint(w.out, p.Text(time.Now()))
	width := 78
	if f, ok := w.out.(*os.File); ok && isTerminal(f) {
		width = min(columns(f)-1, 120)
	}
	fmt.Fprintf(w.out, "\n%s", p.Draw(width, 16))
	if c.Picture != "" {
		if err := draw(p, c.Picture); err != nil {
			return err
		}
		fmt.Fprintln(w.out, c.Picture)
	}
	if p.Refused() || !p.CanProve() {
		return answer(exitNo)
	}
	return nil
}

func draw(p *plan.Plan, file string) error {
	kind := filepath.Ext(file)
	if kind != ".svg" && kind != ".png" {
		return fmt.Errorf("%s: a picture's file ends in .svg or .png", file)
	}
	drawn, err := plots.Plan(p)
	if err != nil {
		return err
	}
	b := drawn.SVG()
	if kind == ".png" {
		if b, err = drawn.PNG(150); err != nil {
			return err
		}
	}
	return record.WriteWhole(file, b, 0o644)
}
