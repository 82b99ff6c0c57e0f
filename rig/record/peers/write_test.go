package peers

import (
	"database/sql"
	"os"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"
	"time"

	"github.com/influxdata/line-protocol/v2/lineprotocol"
	_ "modernc.org/sqlite"

	"proofpot/rig/record"
	"proofpot/sensors"
)

var start = time.Date(2026, 3, 14, 8, 15, 2, 0, time.UTC)

// batch is how many lines share a sync: at 1,000 readings a second what gathers in
// the half second that a line waits for company.
const batch = 500

const period = time.Millisecond

func pressure(i int) float64    { return 101325 + float64(i%1000)*0.25 }
func temperature(i int) float64 { return 20 + float64(i%100)*0.01 }

// file is a file on the disk that the test's folder lies on.
func file(b *testing.B) *os.File {
	b.Helper()
	f, err := os.OpenFile(filepath.Join(b.TempDir(), "readings.lp"), os.O_WRONLY|os.O_APPEND|os.O_CREATE, 0o666)
	if err != nil {
		b.Fatal(err)
	}
	return f
}

// unsynced is a file that takes everything and puts nothing on a disk.
type unsynced struct{}

func (unsynced) Write(p []byte) (int, error) { return len(p), nil }
func (unsynced) Sync() error                 { return nil }
func (unsynced) Close() error                { return nil }

func perSecond(b *testing.B) {
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "lines/s")
}

// writeRecord writes b.N lines of two fields, and with safe waits for the disk at each batch.
func writeRecord(b *testing.B, f record.File, safe bool) {
	w := record.NewWriter(f, start)
	w.Wait = true
	rs := make([]sensors.Reading, 2)
	b.ResetTimer()
	for i := range b.N {
		at := time.Duration(i) * period
		rs[0] = sensors.Reading{Sensor: "p1", Quantity: sensors.ChamberPressure, Value: pressure(i), At: at}
		rs[1] = sensors.Reading{Sensor: "p1", Quantity: sensors.ChamberGas, Value: temperature(i), At: at}
		w.Readings(rs)
		if i%batch == batch-1 {
			if err := w.Sync(); err != nil {
				b.Fatal(err)
			}
			for safe && w.Unsynced() > 0 {
				time.Sleep(20 * time.Microsecond)
			}
		}
	}
	if err := w.Close(); err != nil {
		b.Fatal(err)
	}
	b.StopTimer()
}

// writeLibrary does the same with the library's encoder, without a chain.
func writeLibrary(b *testing.B, f record.File) {
	var enc lineprotocol.Encoder
	enc.SetPrecision(lineprotocol.Nanosecond)
	b.ResetTimer()
	for i := range b.N {
		enc.StartLine("chamber")
		enc.AddTag("sensor", "p1")
		p, _ := lineprotocol.FloatValue(pressure(i))
		t, _ := lineprotocol.FloatValue(temperature(i))
		enc.AddField("pressure_pa", p)
		enc.AddField("gas_c", t)
		enc.EndLine(start.Add(time.Duration(i) * period))
		if i%batch == batch-1 || i == b.N-1 {
			if _, err := f.Write(enc.Bytes()); err != nil {
				b.Fatal(err)
			}
			if err := f.Sync(); err != nil {
				b.Fatal(err)
			}
			enc.Reset()
			enc.SetPrecision(lineprotocol.Nanosecond)
		}
	}
	b.StopTimer()
}

// BenchmarkWrite compares ways to the disk at one durability: every 500 lines are
// safe before the next are taken.
func BenchmarkWrite(b *testing.B) {
	b.Run("record", func(b *testing.B) { writeRecord(b, file(b), true); perSecond(b) })
	b.Run("library", func(b *testing.B) { writeLibrary(b, file(b)); perSecond(b) })
	b.Run("sqlite", func(b *testing.B) { writeSQLite(b); perSecond(b) })
}

// BenchmarkEncode compares the same without a disk: the record's lines with its chain,
// the library's without.
func BenchmarkEncode(b *testing.B) {
	b.Run("record-chained", func(b *testing.B) { writeRecord(b, unsynced{}, false); perSecond(b) })
	b.Run("library", func(b *testing.B) { writeLibrary(b, unsynced{}); perSecond(b) })
}

// writeSQLite inserts the same values, a transaction a batch; synchronous=FULL in
// WAL mode syncs at each commit.
func writeSQLite(b *testing.B) {
	db, err := sql.Open("sqlite", filepath.Join(b.TempDir(), "readings.db")+"?_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)")
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	if _, err := db.Exec("CREATE TABLE chamber (time INTEGER, sensor TEXT, pressure_pa REAL, gas_c REAL)"); err != nil {
		b.Fatal(err)
	}
	b.ResetTimer()
	for i := 0; i < b.N; i += batch {
		tx, err := db.Begin()
		if err != nil {
			b.Fatal(err)
		}
		insert, err := tx.Prepare("INSERT INTO chamber VALUES (?, ?, ?, ?)")
		if err != nil {
			b.Fatal(err)
		}
		for k := i; k < min(i+batch, b.N); k++ {
			if _, err := insert.Exec(start.UnixNano()+int64(k)*int64(period), "p1", pressure(k), temperature(k)); err != nil {
				b.Fatal(err)
			}
		}
		insert.Close()
		if err := tx.Commit(); err != nil {
			b.Fatal(err)
		}
	}
	b.StopTimer()
}

// BenchmarkShare gives the share of a core that 1,000 readings a second take, all
// the way to the disk, syncs and the wait for them counted.
func BenchmarkShare(b *testing.B) {
	f := file(b)
	before := cpu(b)
	writeRecord(b, f, true)
	perReading := (cpu(b) - before).Seconds() / float64(2*b.N) // two readings a line
	b.ReportMetric(100*1000*perReading, "%core@1000/s")
}

func cpu(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Skip("no rusage: " + strconv.Quote(err.Error()))
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
