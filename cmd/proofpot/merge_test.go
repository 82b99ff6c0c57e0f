package main

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"proofpot/rig/record"
)

// TestALoggerFromInsideIsMergedAfterTheRun takes a record without a sensor inside,
// invents what a logger in the unit would have kept (its clock 412.3 s behind), and
// looks for it in the analysis.
func TestALoggerFromInsideIsMergedAfterTheRun(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "20260730T195432Z-HC007")
	if err := os.CopyFS(dir, os.DirFS("../../analysis/testdata/records/20260730T195432Z-HC007")); err != nil {
		t.Fatal(err)
	}
	const behind = 412.3
	random := rand.New(rand.NewPCG(1, 2))
	var logger bytes.Buffer
	fmt.Fprintln(&logger, "time,pressure_pa,temperature_c")
	rec, err := record.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	var l record.Line
	last := 0.0
	for {
		err := rec.Next(&l)
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if at := float64(l.TimeNS)/1e9 - behind; l.Measurement == record.Chamber && !math.IsNaN(l.PressurePa) && at > last+1.9 {
			last = at
			fmt.Fprintf(&logger, "%.3f,%.1f,%.2f\n", at, 98000+0.01*l.PressurePa+5*random.NormFloat64(), 17.0)
		}
	}
	rec.Close()
	before, err := os.ReadFile(filepath.Join(dir, record.ReadingsFile))
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "can.csv")
	if err := os.WriteFile(file, logger.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	verb := func(args ...string) (int, string) {
		var out, errs bytes.Buffer
		code := run(world{ctx: t.Context(), in: strings.NewReader(""), out: &out, errs: &errs}, args)
		return code, out.String() + errs.String()
	}
	code, said := verb("merge", dir, file, "--name", "can")
	var off, sd float64
	if _, err := fmt.Sscanf(said, "the logger's clock: %f s ± %f s", &off, &sd); code != exitDone || err != nil || math.Abs(off+behind) > 2*sd || sd > 1 {
		t.Fatalf("exit code %d, %v: %s", code, err, said)
	}
	after, err := os.ReadFile(filepath.Join(dir, record.ReadingsFile))
	if err != nil || !bytes.Equal(before, after) {
		t.Errorf("the record was altered, %v", err)
	}
	merged, err := record.OpenWithInside(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer merged.Close()
	inside, ns := 0, int64(0)
	for {
		err := merged.Next(&l)
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if l.TimeNS < ns {
			t.Fatalf("time goes back to %d", l.TimeNS)
		}
		ns = l.TimeNS
		if l.Measurement == record.UnitInside && l.Sensor == "can" {
			inside++
		}
	}
	if in := merged.Integrity(); inside < 1000 || !in.Intact || !in.Chained {
		t.Errorf("%d readings inside, %+v", inside, in)
	}
	if code, said := verb("analyse", dir); code != exitDone {
		t.Errorf("exit code %d: %s", code, said)
	}
	if code, said := verb("verify", dir); code != exitDone {
		t.Errorf("exit code %d: %s", code, said)
	}
	// The same by two moments that somebody wrote down.
	at := func(s float64) string { return fmt.Sprintf("%.1f=%.1f", float64(ns)/1e9-behind-s, float64(ns)/1e9-s) }
	if code, said := verb("merge", dir, file, "--event", at(3000), "--event", at(10)); code != exitDone || !strings.Contains(said, "by 2 common events") || !strings.Contains(said, "-412.") {
		t.Errorf("exit code %d: %s", code, said)
	}
	// A logger that shows nothing.
	flat := filepath.Join(t.TempDir(), "flat.csv")
	os.WriteFile(flat, []byte("time,temperature_c\n1,20\n2,20\n"), 0o644)
	if code, said := verb("merge", dir, flat); code != exitNo || !strings.Contains(said, "--event LOGGER=RECORD") {
		t.Errorf("exit code %d: %s", code, said)
	}
}
