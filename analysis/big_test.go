package analysis

import (
	"fmt"
	"os"
	"runtime"
	"testing"
	"time"

	"proofpot/rig/record"
)

func TestBig(t *testing.T) {
	if os.Getenv("BIG") == "" {
		t.SkipNow()
	}
	run, r, done, _ := openRecord(os.Getenv("BIG"))
	t0 := time.Now()
	var l record.Line
	for r.Next(&l) == nil {
	}
	done()
	fmt.Println("decode", time.Since(t0))
	run, r, done, _ = openRecord(os.Getenv("BIG"))
	t0 = time.Now()
	x, _ := readTable(r)
	fmt.Println("table", time.Since(t0), x.lines)
	done()
	run, r, done, _ = openRecord(os.Getenv("BIG"))
	t0 = time.Now()
	res, err := Analyse(run, "big", r)
	fmt.Println("analyse", time.Since(t0), err, res.Verdict.Verdict, res.Verdict.Reasons)
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	fmt.Println("sys MB", m.Sys>>20, "heap", m.HeapSys>>20)
}
