package peers

import (
	"bytes"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/klauspost/compress/zstd"

	"proofpot/rig/record"
	"proofpot/rig/record/export"
)

// BenchmarkBytes gives the bytes that each reading (a number that a sensor gave, at its moment)
// takes, over the records in analysis/testdata, beside what its noise alone
// would take.
func BenchmarkBytes(b *testing.B) {
	folders, err := filepath.Glob("../../../analysis/testdata/records/*")
	if err != nil || len(folders) == 0 {
		b.Fatal("no records", err)
	}
	size := map[string]float64{}
	readings := 0.0
	for _, folder := range folders {
		in, err := record.OpenReadings(folder)
		if err != nil {
			continue // no record
		}
		raw, err := io.ReadAll(in)
		in.Close()
		if err != nil {
			b.Fatal(err)
		}
		n, bits := noise(b, folder)
		readings += n
		size["noise"] += bits / 8
		size["lp"] += float64(len(raw))
		size["lp-zstd"] += packed(b, raw)
		for name, f := range map[string]func(io.Writer, []export.Column) (export.Sink, error){"csv": export.CSV, "parquet": export.Parquet} {
			table := wide(b, folder, f)
			size[name] += float64(len(table))
			if name == "csv" {
				size["csv-zstd"] += packed(b, table)
			}
		}
	}
	for b.Loop() {
	}
	for name, bytes := range size {
		b.ReportMetric(bytes/readings, name+"-B/reading")
	}
	b.ReportMetric(0, "ns/op")
}

func packed(b *testing.B, data []byte) float64 {
	b.Helper()
	w, err := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedBetterCompression))
	if err != nil {
		b.Fatal(err)
	}
	return float64(len(w.EncodeAll(data, nil)))
}

func wide(b *testing.B, folder string, format func(io.Writer, []export.Column) (export.Sink, error)) []byte {
	b.Helper()
	open := func() *record.Record {
		r, err := record.Open(folder)
		if err != nil {
			b.Fatal(err)
		}
		return r
	}
	r := open()
	w, err := export.NewWide(r)
	r.Close()
	if err != nil {
		b.Fatal(err)
	}
	var out bytes.Buffer
	sink, err := format(&out, w.Columns)
	if err != nil {
		b.Fatal(err)
	}
	r = open()
	defer r.Close()
	if err := w.Write(r, sink); err != nil {
		b.Fatal(err)
	}
	if err := sink.Close(); err != nil {
		b.Fatal(err)
	}
	return out.Bytes()
}

// noise gives how many readings a record holds and the bits that their noise
// carries: for each series log2(σ √(2πe) / q), the differential entropy of a
// Gaussian in steps of q (Cover and Thomas, Elements of Information Theory,
// 2006, theorems 8.3.1 and 8.4.1), with σ from the median of the second differences,
// which follow no slow change (their σ is √6 times as large), and q the step of the
// last digit that is written.
func noise(b *testing.B, folder string) (readings, bits float64) {
	b.Helper()
	r, err := record.Open(folder)
	if err != nil {
		b.Fatal(err)
	}
	defer r.Close()
	series := map[string][]float64{}
	digits := map[string]int{}
	var l record.Line
	for {
		if err := r.Next(&l); err == io.EOF {
			break
		} else if err != nil {
			b.Fatal(err)
		}
		for name, v := range map[string]float64{"p": l.PressurePa, "g": l.GasC, "w": l.WaterC, "t": l.TemperatureC, "rh": l.RHPct, "level": l.Level} {
			if l.Measurement == record.Stage || l.Measurement == record.Setpoint || math.IsNaN(v) {
				continue
			}
			key := l.Measurement.String() + l.Sensor + name
			series[key] = append(series[key], v)
			_, behind, _ := strings.Cut(strconv.FormatFloat(v, 'f', -1, 64), ".")
			digits[key] = max(digits[key], len(behind))
		}
		if l.HasWet {
			readings++ // a truth that stays says nothing
		}
	}
	for key, vs := range series {
		readings += float64(len(vs))
		if len(vs) < 30 {
			continue
		}
		var second []float64
		for i := 2; i < len(vs); i++ {
			second = append(second, math.Abs(vs[i]-2*vs[i-1]+vs[i-2]))
		}
		slices.Sort(second)
		sigma := second[len(second)/2] / 0.6745 / math.Sqrt(6)
		q := math.Pow(10, -float64(digits[key]))
		if sigma > 0 {
			bits += float64(len(vs)) * max(0, math.Log2(sigma*math.Sqrt(2*math.Pi*math.E)/q))
		}
	}
	return readings, bits
}
