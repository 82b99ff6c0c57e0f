package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"proofpot/analysis/certificate/plots"
	"proofpot/analysis/statistics"
	"proofpot/rig/record"
)

// draw writes the pictures of a comparison.
func (c *compareCmd) draw(picked []statistics.History) error {
	if err := os.MkdirAll(c.Pictures, 0o777); err != nil {
		return fmt.Errorf("no folder for pictures: %w", err)
	}
	bounds := make([]statistics.Bound, len(picked))
	for i, h := range picked {
		var err error
		if bounds[i], err = statistics.LowerBound(c.family(), h.Observations, 0.1, 0.9, c.Slope); err != nil {
			return err
		}
	}
	put := func(name string, p *plots.Picture, err error) error {
		if errors.Is(err, plots.ErrNoData) {
			return nil
		}
		if err != nil {
			return err
		}
		return record.WriteWhole(filepath.Join(c.Pictures, name), p.SVG(), 0o644)
	}
	p, err := plots.Units(picked)
	if err := put("units.svg", p, err); err != nil {
		return err
	}
	p, err = plots.Forest(picked, bounds)
	if err := put("forest.svg", p, err); err != nil {
		return err
	}
	for i, h := range picked {
		p, err := plots.Survival(h, bounds[i])
		if err := put(fmt.Sprintf("survival-%d.svg", i+1), p, err); err != nil {
			return err
		}
		p, err = plots.Probability(h, bounds[i])
		if err := put(fmt.Sprintf("probability-%d.svg", i+1), p, err); err != nil {
			return err
		}
	}
	return nil
}
