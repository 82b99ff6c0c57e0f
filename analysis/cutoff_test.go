package analysis_test

import (
	"bytes"
	"math/rand/v2"
	"testing"

	"proofpot/analysis"
	"proofpot/rig/record"
)

// TestARecordThatEndsAnywhereIsJudgedAndNotPassed cuts records off at any line,
// as a power cut does, and leaves out lines anywhere: the analysis says something
// of each, and a run that was not brought to its end is no pass.
func TestARecordThatEndsAnywhereIsJudgedAndNotPassed(t *testing.T) {
	dice := rand.New(rand.NewPCG(7, 7))
	for name, fault := range map[string]string{"tight": "", "seep": "seep at 24 m, 3 ml/h", "burst": "burst at 20 m, 40 ml/h", "damp": "damp at 10 m, 30 ul/h"} {
		for pot, change := range pots {
			if name != "tight" && pot != "valves, 300 ml cushion" {
				continue
			}
			s := simulate(t, "quick-check-30m-sea", fault, 11, change)
			lines := bytes.SplitAfter(s.record, []byte("\n"))
			for i := range few(20) {
				n := dice.IntN(len(lines))
				if i%3 == 0 {
					n = dice.IntN(min(800, len(lines))) // hardly begun
				}
				cut := bytes.Join(lines[:n], nil)
				if i%5 == 0 {
					cut = append(cut, lines[n][:len(lines[n])/2]...) // torn in a line
				}
				res, err := analysis.Analyse(s.run, "cut", record.NewReader(bytes.NewReader(cut)))
				if err != nil {
					continue // nothing in it to analyse
				}
				if res.Verdict.Verdict == analysis.Pass && n < len(lines)*9/10 {
					t.Errorf("%s, %s, cut at line %d of %d: passed", name, pot, n, len(lines))
				}
			}
			for range few(20) {
				var kept [][]byte
				drop := dice.Float64()
				for _, line := range lines {
					if dice.Float64() > drop || !bytes.HasPrefix(line, []byte("chamber")) {
						kept = append(kept, line)
					}
				}
				_, _ = analysis.Analyse(s.run, "thinned", record.NewUncheckedReader(bytes.NewReader(bytes.Join(kept, nil))))
			}
		}
	}
}
