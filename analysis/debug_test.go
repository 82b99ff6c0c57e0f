package analysis

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestDebug(t *testing.T) {
	dir := corpusDir()
	for k := range loadTruth(t, dir) {
		if !strings.HasSuffix(k, os.Getenv("REC")) {
			continue
		}
		run, r, done, err := openRecord(filepath.Join(dir, k))
		if err != nil {
			t.Fatal(err)
		}
		a, err := begin(run, k, r)
		done()
		if err != nil {
			t.Fatal(err)
		}
		debugFit = os.Getenv("SHARE") != ""
		a.measure()
		debugFit = true
		for _, st := range a.stages {
			fmt.Println("stage", st.index, st.hold, st.closed, len(st.closed))
			if st.hold.real() {
				f := a.fitter(st)
				for i, c := range f.cools {
					fmt.Printf(" part %v cool tau %.1f a %.3f±%.3f rest %.3f trend %.2e white %.4f sound %v heat %.1f\n", f.parts[i], c.tau, c.a, c.ua, c.rest, c.trend, c.white, c.sound, f.heat[i])
				}
				for _, tied := range []bool{true, false} {
					e := f.fit(tied, false)
					if e != nil {
						fmt.Printf("  tied %v %.4f ± %.4f settle %.3f±%.3f\n", tied, e.value, e.u, e.settle, e.settleU)
						for _, b := range e.budget {
							fmt.Printf("     %s %.4f\n", b.Source, b.MLPerH)
						}
					}
				}
			}
		}
		if a.base != nil {
			fmt.Println("base", a.base.from, a.base.u)
		}
		if a.in != nil {
			o := a.insideOnset(nil, false)
			fmt.Println("insideLeaks", a.insideLeaks(), "onset nil", o == nil, "damp", a.damp)
			if o != nil {
				fmt.Println(o.quantile(.025, same), o.quantile(.5, same), o.quantile(.975, same))
			}
		}
		if f := a.firstFailure(); f != nil {
			fmt.Println(f.time, f.depth, f.text)
		}
		debugFit = false
	}
}
