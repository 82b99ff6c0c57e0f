package main

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"testing"
)

const soakProfile = `
name = "soak-12h"
water = { model = "sea", salinity_gkg = 35.0, temperature_c = 12.0, latitude_deg = 58.0 }
proof_factor = 1.25
ramp_m_per_min = 10.0
[[stage]]
name = "soak"
depth_m = 30.0
settle_s = 300
hold_s = 43200
[accept]
leak_ml_per_h = 0.5
`

// BenchmarkSoak is a soak of twelve hours on the simulated bench as a user runs
// it: physics, sequencer, record on the disk, live estimate, analysis and
// certificate. It says how many seconds of the soak pass in a second.
func BenchmarkSoak(b *testing.B) {
	dir := b.TempDir()
	file := filepath.Join(dir, "soak.toml")
	if err := os.WriteFile(file, []byte(soakProfile), 0o666); err != nil {
		b.Fatal(err)
	}
	n := 0
	for b.Loop() {
		w := world{ctx: context.Background(), out: io.Discard, errs: io.Discard}
		if code := run(w, []string{"run", file, "--records", filepath.Join(dir, "records"), "--unit", unitFile(b, dir, n)}); code != exitDone && code != exitNo {
			b.Fatalf("exit code %d", code)
		}
		n++
	}
	b.ReportMetric(43200*float64(n)/b.Elapsed().Seconds(), "simulated-s/s")
}

// unitFile describes another unit each time: a unit starts one run a second.
func unitFile(b *testing.B, dir string, n int) string {
	b.Helper()
	name := filepath.Join(dir, "unit.toml")
	text := "id = \"KP-" + string(rune('A'+n%26)) + string(rune('A'+n/26%26)) + "\"\nfree_volume_ml = 520\nouter_volume_ml = 920\n"
	if err := os.WriteFile(name, []byte(text), 0o666); err != nil {
		b.Fatal(err)
	}
	return name
}
