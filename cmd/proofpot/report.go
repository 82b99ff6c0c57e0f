package main

import (
	"fmt"
	"io"
	"strings"

	"proofpot/analysis"
)

// report prints a verdict for a person: what, why, how deep, and each hold.
func report(w io.Writer, r *analysis.Result) {
	v := &r.Verdict
	fmt.Fprintf(w, "\n%s: %s\n", strings.ToUpper(v.Verdict), v.Unit)
	for _, reason := range v.Reasons {
		fmt.Fprintf(w, "  %s\n", reason)
	}
	switch {
	case v.RatedDepthM > 0:
		fmt.Fprintf(w, "proved to %.1f m, rated %.1f m\n", v.ProvedDepthM, v.RatedDepthM)
	case v.ProvedDepthM > 0:
		fmt.Fprintf(w, "the deepest hold that passed is %.1f m; no depth is rated\n", v.ProvedDepthM)
	default:
		fmt.Fprintln(w, "no depth was proved")
	}
	if f := v.FirstFailure; f != nil {
		fmt.Fprintf(w, "first failure: %s at %.2f m (95 %%: %.2f to %.2f m), last tight at %.1f m; seen by %s\n",
			f.Mode, f.DepthM, f.DepthLowM, f.DepthHighM, f.LastTightDepthM, strings.Join(f.Evidence, ", "))
	}
	if len(v.Holds) > 0 {
		fmt.Fprintln(w, "stage   depth   leak ml/h (95 %)              can detect   moisture mg/h (95 %)          verdict")
	}
	for _, h := range v.Holds {
		limit := "–"
		if h.DetectionLimitMLPerH != nil {
			limit = fmt.Sprintf("%.2f", *h.DetectionLimitMLPerH)
		}
		fmt.Fprintf(w, "%5d %5.1f m   %-29s %-12s %-29s %s\n", h.Stage, h.DepthM,
			interval(h.LeakMLPerH), limit, interval(h.MoistureMGPerH), h.Verdict)
	}
}

func interval(i *analysis.Interval) string {
	if i == nil {
		return "not measured"
	}
	return fmt.Sprintf("%.2f (%.2f to %.2f)", plain(i.Estimate, 100), plain(i.Low, 100), plain(i.High, 100))
}

// oneLine is a verdict for a list.
func oneLine(v *analysis.Verdict) string {
	text := v.Verdict
	if f := v.FirstFailure; f != nil {
		text += fmt.Sprintf(", %s at %.2f m (%.2f to %.2f m)", f.Mode, f.DepthM, f.DepthLowM, f.DepthHighM)
	}
	if v.Verdict == analysis.Pass && v.ProvedDepthM == 0 {
		return text + ", no depth proved"
	}
	if v.Verdict == analysis.Pass {
		return text + fmt.Sprintf(", proved to %.1f m, rated %.1f m", v.ProvedDepthM, v.RatedDepthM)
	}
	if len(v.Reasons) > 0 {
		text += "; " + v.Reasons[0]
	}
	return text
}
