package analysis

import (
	"fmt"
	"math"
	"path/filepath"
	"testing"
)

func TestCreepStudy(t *testing.T) {
	dir := corpusDir()
	m := loadTruth(t, dir)
	creepSD, slowCreep = 0.03, 0.1
	slowW := map[string][2]float64{}
	for k, tr := range m {
		if tr.Gas {
			continue
		}
		run, r, done, _ := openRecord(filepath.Join(dir, k))
		a, err := begin(run, k, r)
		done()
		if err != nil {
			t.Fatal(err)
		}
		a.measure()
		for _, st := range a.stages {
			for _, h := range tr.Holds {
				if h.Stage != st.index || h.Leak != 0 || !st.hold.real() {
					continue
				}
				f := a.fitter(st)
				f.leakSD = 1e-3
				var p *posterior
				postHook = func(q *posterior) { p = q }
				f.once(true, false, func() float64 {
					if st.chamber != nil {
						return st.chamber.tau
					}
					return math.NaN()
				}(), drifts[0])
				postHook = nil
				if p == nil {
					continue
				}
				c := slowW[k]
				w := 1 / (p.cov.At(colSlow, colSlow))
				c[0] += w * p.b[colSlow]
				c[1] += w
				slowW[k] = c
				fmt.Printf("%s st%d slow %.4f±%.4f log/bar/L %.4f±%.4f  blank dev %.2f\n", k[len(k)-5:], st.index, p.b[colSlow], p.sd(colSlow), p.b[colCreep]/(max(f.step/1e5, .1)*f.v.unitML/1000), p.sd(colCreep)/(max(f.step/1e5, .1)*f.v.unitML/1000), (p.b[colBlank]-f.v.blank)/f.v.blankSD)
			}
		}
	}
	for k, c := range slowW {
		fmt.Printf("MEAN %s %.4f ± %.4f\n", k[len(k)-5:], c[0]/c[1], 1/math.Sqrt(c[1]))
	}
}

func TestInsideZ(t *testing.T) {
	dir := corpusDir()
	m := loadTruth(t, dir)
	var zi, zc, zb []float64
	for k, tr := range m {
		if tr.Gas || !tr.Inside {
			continue
		}
		run, r, done, _ := openRecord(filepath.Join(dir, k))
		a, err := begin(run, k, r)
		done()
		if err != nil {
			t.Fatal(err)
		}
		a.measure()
		for _, st := range a.stages {
			for _, h := range tr.Holds {
				if h.Stage != st.index || h.Leak > 0.01 || st.inside == nil || st.chamber == nil {
					continue
				}
				e := st.inside
				zi = append(zi, e.value/e.u)
				zc = append(zc, st.chamber.value/st.chamber.u)
				zb = append(zb, st.both.value/st.both.u)
				if math.Abs(e.value/e.u) > 2.2 {
					fmt.Printf("%s st%d %.3f±%.3f", k[len(k)-5:], st.index, e.value, e.u)
					for _, b := range e.budget {
						fmt.Printf(" %s %.3f", b.Source[:12], b.MLPerH)
					}
					fmt.Println()
				}
			}
		}
	}
	rms := func(z []float64) float64 {
		s := 0.0
		for _, v := range z {
			s += v * v
		}
		return math.Sqrt(s / float64(len(z)))
	}
	fmt.Printf("INSIDE rms %.2f chamber %.2f both %.2f n %d\n", rms(zi), rms(zc), rms(zb), len(zi))
}

func TestTightZ(t *testing.T) {
	dir := corpusDir()
	m := loadTruth(t, dir)
	var z [2][]float64
	var us [2]float64
	for k, tr := range m {
		if tr.Gas {
			continue
		}
		run, r, done, _ := openRecord(filepath.Join(dir, k))
		a, err := begin(run, k, r)
		done()
		if err != nil {
			t.Fatal(err)
		}
		a.measure()
		for _, st := range a.stages {
			for _, h := range tr.Holds {
				if h.Stage != st.index || h.Leak != 0 || !st.hold.real() {
					continue
				}
				f := a.fitter(st)
				for i, tied := range []bool{false, true} {
					if e := f.fit(tied, false); e != nil {
						z[i] = append(z[i], e.value/e.u)
						us[i] += e.u
						if math.Abs(e.value/e.u) > 2 {
							fmt.Printf("%s st%d tied %v %.3f±%.3f gas %v water %v drift %v tau %.0f\n", k[len(k)-5:], st.index, tied, e.value, e.u, a.s.gas != nil, !a.x.water.empty(), e.drift, e.tau)
						}
					}
				}
			}
		}
	}
	for i := range z {
		s, over := 0.0, 0
		for _, v := range z[i] {
			s += v * v
			if math.Abs(v) > 1.96 {
				over++
			}
		}
		fmt.Printf("ZRMS %d rms %.2f over %d of %d mean u %.3f\n", i, math.Sqrt(s/float64(len(z[i]))), over, len(z[i]), us[i]/float64(len(z[i])))
	}
}

func TestDriftStudy(t *testing.T) {
	dir := corpusDir()
	m := loadTruth(t, dir)
	opts := []wander{{walk: 4}, {walk: 12}, {walk: 25}, {walk: 40}, {walk: 80}, {walk: 4, stray: 8, tau: 300}, {walk: 4, stray: 8, tau: 1200}, {walk: 4, stray: 15, tau: 150}, {walk: 4, stray: 15, tau: 300}, {walk: 4, stray: 15, tau: 600}, {walk: 4, stray: 15, tau: 1200}, {walk: 4, stray: 25, tau: 300}, {walk: 4, stray: 25, tau: 1200}, {walk: 4, stray: 45, tau: 400}, {walk: 4, stray: 45, tau: 1500}}
	sum := make([]float64, len(opts))
	for k, tr := range m {
		if tr.Gas {
			continue
		}
		run, r, done, _ := openRecord(filepath.Join(dir, k))
		a, err := begin(run, k, r)
		done()
		if err != nil {
			t.Fatal(err)
		}
		if a.s.gas == nil || a.x.water.empty() {
			continue
		}
		a.measure()
		rec := make([]float64, len(opts))
		for _, st := range a.stages {
			for _, h := range tr.Holds {
				if h.Stage != st.index || h.Leak != 0 || !st.hold.real() || tr.Verdict == "fail" && tr.Mode != "collapse" {
					continue
				}
				f := a.fitter(st)
				f.leakSD = 1e-3
				for i, o := range opts {
					_, l := f.once(true, false, math.NaN(), o)
					rec[i] += l
				}
			}
		}
		best := 0
		for i := range rec {
			sum[i] += rec[i]
			if rec[i] > rec[best] {
				best = i
			}
		}
		fmt.Printf("%s noise %.0f best %v", k[len(k)-5:], a.s.noise, opts[best])
		for i := range rec {
			fmt.Printf(" %.1f", rec[i]-rec[best])
		}
		fmt.Println()
	}
	for i, o := range opts {
		fmt.Printf("SUM %v %.1f\n", o, sum[i])
	}
}
