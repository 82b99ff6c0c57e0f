package certificate

import (
	"strings"

	"proofpot/analysis"
	"proofpot/analysis/certificate/plots"
	"proofpot/analysis/certificate/units"
	"proofpot/rig/setup"
)

// codeSide is the printed side of the code, points: 25 mm, which a telephone
// reads from a hand's breadth.
const codeSide = 71

// codeText is what the code on certificate and label says: unit, outcome, rated
// depth, date of the test, and the fingerprint of its record.
func (u pen) codeText(run setup.Run, r *analysis.Result, opts Options) string {
	v := &r.Verdict
	lines := []string{u.F("unit %s", units.Clean(v.Unit, 40))}
	if simulated(run) {
		lines = append(lines, u.T("simulated, no unit was tested"))
	}
	if v.Verdict == analysis.Pass && !(v.RatedDepthM > 0) {
		lines = append(lines, u.T("passed a check, no depth rated"))
	} else if v.Verdict == analysis.Pass {
		lines = append(lines, u.F("passed, rated %s", units.System{Depth: units.Metre, Language: u.Language}.DepthDown(v.RatedDepthM)))
	} else {
		lines = append(lines, u.T("not passed"))
	}
	if start := plots.Start(r); !start.IsZero() {
		lines = append(lines, u.F("tested %s", start.UTC().Format("2006-01-02")))
	}
	if opts.SHA256 != "" {
		lines = append(lines, "sha256 "+strings.ToLower(opts.SHA256))
	}
	return strings.Join(lines, "\n")
}
