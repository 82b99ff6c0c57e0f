package record_test

import (
	"bufio"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"proofpot/rig/record"
	"proofpot/sensors"
)

// telling is the record's file; it says on standard output what is on the disk.
type telling struct {
	*os.File
	bytes int64
}

func (f *telling) Write(p []byte) (int, error) {
	n, err := f.File.Write(p)
	f.bytes += int64(n)
	return n, err
}

func (f *telling) Sync() error {
	err := f.File.Sync()
	if err == nil {
		fmt.Printf("synced %d\n", f.bytes)
	}
	return err
}

// TestMain is also the process that is killed: it writes numbered readings as
// fast as it can, or resumes a record and goes on with them.
func TestMain(m *testing.M) {
	dir := os.Getenv("RECORD_CRASH_DIR")
	if dir == "" {
		os.Exit(m.Run())
	}
	w, next, err := crashWriter(dir, os.Getenv("RECORD_CRASH_FOLDER"))
	if err != nil {
		fmt.Println("failed", err)
		os.Exit(1)
	}
	fmt.Println("writing")
	for i := 0; ; i++ {
		at := time.Duration(i) * 100 * time.Millisecond
		w.Readings([]sensors.Reading{{Sensor: "p1", Quantity: sensors.ChamberPressure, Value: float64(next + i), At: at}})
		if i%50 == 0 {
			w.Stage(at, "ramp", i, "shallow", 3, 1e5) // synced at once
		}
		if err := w.Flush(at); err != nil {
			fmt.Println("failed", err)
			os.Exit(1)
		}
		if i%50 == 49 {
			time.Sleep(time.Millisecond)
		}
	}
}

func crashWriter(dir, folder string) (*record.Writer, int, error) {
	start := time.Date(2026, 3, 14, 8, 15, 2, 0, time.UTC)
	if folder == "" {
		folder, f, err := record.Create(dir, start, record.DemoRun())
		if err != nil {
			return nil, 0, err
		}
		fmt.Println("folder", folder)
		w := record.NewWriter(&telling{File: f.(*os.File)}, start)
		w.Run(0, "start", "crash")
		return w, 0, w.Flush(0)
	}
	next := 0
	r, err := record.Open(folder)
	if err != nil {
		return nil, 0, err
	}
	var l record.Line
	for r.Next(&l) == nil {
		if l.Measurement == record.Chamber {
			next = int(l.PressurePa) + 1
		}
	}
	r.Close()
	record.WrapResumed(func(f *os.File, size int64) record.File { return &telling{f, size} })
	w, _, err := record.Resume(folder, start.Add(time.Hour))
	return w, next, err
}

// TestAProcessThatIsKilledLosesNothingThatWasAcknowledged kills a real process
// that writes a record on a real disk, resumes, and kills it again.
func TestAProcessThatIsKilledLosesNothingThatWasAcknowledged(t *testing.T) {
	kills := 60
	if s := os.Getenv("RECORD_CRASH_KILLS"); s != "" {
		kills, _ = strconv.Atoi(s)
	} else if testing.Short() {
		kills = 12
	}
	rnd := rand.New(rand.NewPCG(3, uint64(kills)))
	dir, folder := t.TempDir(), ""
	var lines, acknowledged int64
	torn, resumed := 0, 0
	for k := range kills {
		if k%20 == 0 {
			dir, folder = t.TempDir(), ""
		}
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), "RECORD_CRASH_DIR="+dir, "RECORD_CRASH_FOLDER="+folder)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		resumed += min(1, len(folder))
		safe := watch(t, cmd, out, &folder, time.Duration(rnd.Int64N(int64(30*time.Millisecond))))
		acknowledged += safe
		n, cut := whole(t, folder, safe)
		lines += n
		torn += cut
	}
	t.Logf("%d kills, %d of them after a resume; %d bytes had been acknowledged, %d lines are there, %d torn tails; 0 lost", kills, resumed, acknowledged, lines, torn)
}

// watch lets the process write for a while, kills it, and gives the bytes that
// it said were on the disk.
func watch(t *testing.T, cmd *exec.Cmd, out io.Reader, folder *string, after time.Duration) (safe int64) {
	t.Helper()
	in := bufio.NewReader(out)
	var kill *time.Timer
	for {
		line, err := in.ReadString('\n')
		if err != nil {
			break // a word that was cut off is no word
		}
		word, rest, _ := strings.Cut(strings.TrimSpace(line), " ")
		switch word {
		case "folder":
			*folder = rest
		case "writing":
			kill = time.AfterFunc(after, func() { cmd.Process.Signal(syscall.SIGKILL) })
		case "synced":
			if safe, err = strconv.ParseInt(rest, 10, 64); err != nil {
				t.Fatal(err)
			}
		case "failed":
			cmd.Process.Kill()
			t.Fatal(rest)
		}
	}
	cmd.Wait()
	if kill == nil {
		t.Fatal("the process ended before it wrote")
	}
	return safe
}

// whole checks that a record holds what was acknowledged, every reading in turn.
func whole(t *testing.T, folder string, safe int64) (lines int64, torn int) {
	t.Helper()
	info, err := os.Stat(filepath.Join(folder, record.ReadingsFile))
	if err != nil || info.Size() < safe {
		t.Fatalf("%d bytes were acknowledged, %v are there: %v", safe, info.Size(), err)
	}
	r, err := record.Open(folder)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	var l record.Line
	next := 0.0
	for {
		err := r.Next(&l)
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if l.Measurement == record.Chamber {
			if l.PressurePa != next {
				t.Fatalf("line %d: reading %.0f, want %.0f", l.Number, l.PressurePa, next)
			}
			next++
		}
	}
	in := r.Integrity()
	if !in.Intact {
		t.Fatalf("%+v", in)
	}
	return in.Lines, min(1, in.TornBytes)
}
