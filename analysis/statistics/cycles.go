package statistics

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"proofpot/analysis/register"
)

// AssumedSlopeOfCycles is the Weibull slope taken for cycles to a leak where the
// scatter cannot be estimated: lives in cycles scatter more than strengths do, and
// few failures early are what must not be missed (common practice, no source; the
// handbook's slopes for fatigue at few cycles lie at 2 to 4, from memory).
const AssumedSlopeOfCycles = 2.0

// ObserveCycles makes one observation of each unit of each variant of how many
// cycles to a depth it stood: failed in a cycle above LowM, the cycles that it
// stood, and up to HighM; a run-out, which did not fail, is right-censored. A unit
// counts by the first of its closures that failed, or by the one that stood most:
// several closures of one unit are not independent. Tests to other depths do not
// count; within 2 % they are taken as the same.
//
// What follows is that of any right- and interval-censored lives (Meeker and
// Escobar 1998, "Statistical Methods for Reliability Data", chapter 8; from memory:
// IEC 61649 has the Weibull with suspended items, ISO 12107 complete lognormal
// lives with a tolerance bound).
func ObserveCycles(all []register.Cycled, depthM float64) []History {
	byVariant := map[string]*History{}
	best := map[string]*register.Cycled{}
	left := map[string][]string{}
	var variants, order []string
	for i, c := range all {
		if math.Abs(c.DepthM-depthM) > 0.02*depthM {
			continue
		}
		h := byVariant[c.Variant]
		if h == nil {
			h = &History{Variant: c.Variant, CyclesToM: depthM}
			byVariant[c.Variant] = h
			variants = append(variants, c.Variant)
		}
		if kind := c.Water.Kind(); !slices.Contains(h.Waters, kind) {
			h.Waters = append(h.Waters, kind)
		}
		key := c.Variant + "\x00" + c.Unit
		o := best[key]
		switch {
		case o == nil:
			order = append(order, key)
			best[key] = &all[i]
		case o.FailedBy > 0:
			left[c.Variant] = append(left[c.Variant], fmt.Sprintf("%s: %s had failed before; a repaired unit is another one and does not count", c.Record, c.Unit))
		case c.FailedBy > 0 || c.Stood > o.Stood:
			left[c.Variant] = append(left[c.Variant], fmt.Sprintf("%s: %d cycles of an earlier closure of %s do not count beside its later one", o.Record, o.Stood, c.Unit))
			best[key] = &all[i]
		default:
			left[c.Variant] = append(left[c.Variant], fmt.Sprintf("%s: %d cycles of another closure of %s do not count beside its longer one", c.Record, c.Stood, c.Unit))
		}
	}
	for _, key := range order {
		c := best[key]
		h := byVariant[c.Variant]
		o := Observation{Unit: c.Unit, Record: c.Record, LowM: float64(c.Stood), HighM: math.Inf(1), Mode: c.Mode}
		if c.FailedBy > 0 {
			o.HighM = float64(c.FailedBy)
		} else if c.Stood == 0 {
			left[c.Variant] = append(left[c.Variant], fmt.Sprintf("%s: no hold after a cycle of %s passed; nothing shows that it stood one", c.Record, c.Unit))
			continue
		}
		h.Observations = append(h.Observations, o)
	}
	slices.Sort(variants)
	var list []History
	for _, v := range variants {
		h := byVariant[v]
		h.Left = left[v]
		list = append(list, *h)
	}
	return list
}

// CycleDepths lists the depths to which units were cycled, in words.
func CycleDepths(all []register.Cycled) string {
	var depths []float64
	for _, c := range all {
		if !slices.Contains(depths, c.DepthM) {
			depths = append(depths, c.DepthM)
		}
	}
	slices.Sort(depths)
	var words []string
	for _, d := range depths {
		words = append(words, fmt.Sprintf("%g m", d))
	}
	return strings.Join(words, ", ")
}
