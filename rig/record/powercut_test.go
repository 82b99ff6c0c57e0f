package record

import (
	"bytes"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"proofpot/profiles"
	"proofpot/rig/setup"
)

// platter is a disk that remembers in which batches its file came and when it
// was told to keep them, so that any state a power cut can leave is made again.
type platter struct {
	memory
	batches []int // ends of batches that were written and synced
}

func (p *platter) Sync() error { p.batches = append(p.batches, p.Len()); return nil }

// recorded is a short run as a real bench writes it: group commits of half a
// second, a stage change, a fault, an end.
func recorded(t *testing.T, seconds int) *platter {
	p := &platter{}
	synctest.Test(t, func(t *testing.T) {
		w := NewWriter(p, start)
		w.Run(0, "start", "demo")
		w.Valve(0, "fill", false)
		for i := range seconds * 4 {
			at := time.Duration(i) * 250 * time.Millisecond
			w.Readings(pressure(at))
			if i%20 == 3 {
				w.Stage(at, "ramp", i/20, "shallow", 3, 131084.35)
			}
			if i == 30 {
				w.Fault(at, "u1", "", "no-reading", "no answer")
			}
			if err := w.Flush(at); err != nil {
				t.Fatal(err)
			}
			time.Sleep(250 * time.Millisecond)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
	})
	return p
}

// quickDir is a folder in memory where there is one: what is tested is what is
// on the disk, not how fast it is.
func quickDir(t *testing.T) string {
	dir, err := os.MkdirTemp("/dev/shm", "record")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

func demoRun() setup.Run {
	return setup.Run{
		Format: setup.RunFormat,
		Unit:   setup.Unit{ID: "KP-01", FreeVolumeML: 520},
		Bench: setup.Bench{ID: "pot-1", Medium: "water", Supply: "gas", ChamberVolumeML: 11000, GasCushionML: 300, RatedPa: 1.1e6, ReliefPa: 1e6, RoomPa: 95e3,
			Sensors: []setup.Sensor{{ID: "p1", Measures: "chamber pressure", NoisePa: 20, AccuracyPa: 300}}},
		Profile: profiles.Profile{Name: "demo", ProofFactor: 1.25, RampMPerMin: 10,
			Water:  profiles.Water{Model: "fresh", TemperatureC: 10},
			Stages: []profiles.Stage{{Name: "shallow", DepthM: 3, SettleS: 60, HoldS: 120}},
			Accept: profiles.Accept{LeakMLPerH: 0.5}},
	}
}

// left makes a record's folder as a power cut left it.
func left(t *testing.T, dir string, image []byte) string {
	t.Helper()
	folder := filepath.Join(dir, "r")
	os.RemoveAll(folder)
	if err := os.Mkdir(folder, 0o777); err != nil {
		t.Fatal(err)
	}
	sheet, err := setup.EncodeRun(demoRun())
	if err != nil {
		t.Fatal(err)
	}
	for name, b := range map[string][]byte{RunFile: sheet, ReadingsFile: image} {
		if err := os.WriteFile(filepath.Join(folder, name), b, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	return folder
}

// survives opens, resumes, goes on with and verifies what a power cut left;
// acknowledged are the bytes that were on the disk for certain.
func survives(t *testing.T, dir string, image, acknowledged []byte) {
	t.Helper()
	folder := left(t, dir, image)
	later := start.Add(time.Hour)
	w, found, err := Resume(folder, later)
	if err != nil {
		t.Fatalf("%d bytes left of %d acknowledged: %v", len(image), len(acknowledged), err)
	}
	w.Readings(pressure(time.Second))
	w.Run(2*time.Second, "abort", "the power came back")
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join(folder, ReadingsFile))
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.HasPrefix(data, acknowledged) {
		t.Fatalf("of %d acknowledged bytes some were lost", len(acknowledged))
	}
	kept := len(image) - int(found.TornBytes)
	if !bytes.Equal(data[:kept], image[:kept]) {
		t.Fatal("what was there was changed")
	}
	if found.TornBytes > 0 {
		torn, err := os.ReadFile(found.TornFile)
		if err != nil || !bytes.Equal(torn, image[kept:]) {
			t.Fatalf("the torn tail was not set aside whole: %v", err)
		}
	}
	in, err := Verify(folder)
	if err != nil || !in.Intact || !in.Chained || in.Unchained != 0 || in.TornBytes != 0 {
		t.Fatalf("resumed behind %d of %d bytes: %v %+v", kept, len(image), err, in)
	}
}

// TestAPowerCutLosesNothingThatWasAcknowledged cuts the power at every byte and
// at every sync of a short run: the batch under way is cut short at any byte, or
// sectors of it are missing, in any order (they read as NUL), or the file is
// longer than what was written of it.
func TestAPowerCutLosesNothingThatWasAcknowledged(t *testing.T) {
	p := recorded(t, 13)
	data, dir := p.Bytes(), quickDir(t)
	step, draws := 1, 40
	if testing.Short() {
		step, draws = 23, 3
	}
	rnd := rand.New(rand.NewPCG(1, 2))
	cuts, holes, from := 0, 0, 0
	for _, to := range p.batches {
		safe := data[:from]
		for cut := from; cut <= to; cut += step {
			survives(t, dir, data[:cut], safe)
			cuts++
		}
		survives(t, dir, data[:to], data[:to])
		for range draws {
			image := bytes.Clone(data[:to])
			const sector = 64 // small, so that a batch has several
			for s := from; s < to; s += sector {
				if rnd.IntN(2) == 0 {
					clear(image[s:min(s+sector, to)])
				}
			}
			image = append(image, make([]byte, rnd.IntN(3)*sector)...)
			survives(t, dir, image, safe)
			holes++
		}
		from = to
	}
	if from != len(data) {
		t.Fatalf("%d of %d bytes were synced", from, len(data))
	}
	t.Logf("%d cuts at a byte, %d with sectors missing, %d syncs: 0 lost lines", cuts, holes, len(p.batches))
}

func TestARecordResumedTwiceNamesEachChain(t *testing.T) {
	p := recorded(t, 25)
	dir := quickDir(t)
	folder := left(t, dir, p.Bytes()[:p.Len()-100])
	var chains []string
	for i := range 2 {
		w, found, err := Resume(folder, start.Add(time.Duration(i+1)*time.Hour))
		if err != nil {
			t.Fatal(err)
		}
		if found.Unchained == 0 || found.LastChain == "" || !found.Start.Equal(start) || found.Run.Unit.ID != "KP-01" {
			t.Fatalf("%+v", found)
		}
		chains = append(chains, found.LastChain)
		w.Readings(pressure(time.Second))
		w.Sync()
		w.out.close() // killed: no chain line closes the last block
	}
	r, err := Open(folder)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	var l Line
	seen := map[string]bool{}
	for r.Next(&l) == nil {
		if l.Measurement == Chain {
			seen[l.SHA256] = true
		}
		if l.Event == "resume" {
			if l.SHA256 != chains[0] || !seen[l.SHA256] {
				t.Fatalf("resumes from %q, want %q", l.SHA256, chains[0])
			}
			chains = chains[1:]
		}
	}
	if in := r.Integrity(); len(chains) != 0 || !in.Intact {
		t.Fatalf("%d resumes not found; %+v", len(chains), in)
	}
}

func TestAClockThatWasBehindDoesNotTurnTheRecordBack(t *testing.T) {
	folder := left(t, quickDir(t), recorded(t, 5).Bytes())
	w, found, err := Resume(folder, time.Unix(0, 0))
	if err != nil {
		t.Fatal(err)
	}
	if w.Close() != nil || found.From.UnixNano() <= found.LastNS {
		t.Fatalf("%+v", found)
	}
	if in, err := Verify(folder); err != nil || !in.Intact {
		t.Fatal(err, in)
	}
}

func TestWhatCannotBeResumedSaysWhy(t *testing.T) {
	dir := quickDir(t)
	whole := short(t)
	altered := bytes.Replace(whole, []byte("pressure_pa=101825"), []byte("pressure_pa=101826"), 1)
	altered = altered[:bytes.LastIndex(altered, []byte("run,event=end"))]
	for want, image := range map[string][]byte{"has ended": whole, "was altered": altered} {
		if _, _, err := Resume(left(t, dir, image), start.Add(time.Hour)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want %q, got %v", want, err)
		}
	}
	folder := left(t, dir, recorded(t, 5).Bytes())
	w, _, err := Resume(folder, start.Add(time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := Resume(folder, start.Add(time.Hour)); err == nil || !strings.Contains(err.Error(), "another process") {
		t.Errorf("a record under way is resumed: %v", err)
	}
	w.Close()
	if _, _, err := Resume(filepath.Join(dir, "none"), start); err == nil {
		t.Error("nothing is resumed")
	}
}

// TestAResumeThatWasCutOffItself: the torn tail lies beside the record, and is
// still in it too.
func TestAResumeThatWasCutOffItself(t *testing.T) {
	folder := left(t, quickDir(t), append(recorded(t, 5).Bytes(), "chamber,sensor=p1 press"...))
	if err := os.WriteFile(filepath.Join(folder, ReadingsFile+".torn-1"), []byte("chamber,sensor=p1 press"), 0o444); err != nil {
		t.Fatal(err)
	}
	w, found, err := Resume(folder, start.Add(time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	if w.Close() != nil || filepath.Base(found.TornFile) != ReadingsFile+".torn-2" {
		t.Fatal(found.TornFile)
	}
}

// The sum is that of sha256sum over the first three lines.
func Example() {
	var f memory
	w := NewWriter(&f, time.Date(2026, 3, 14, 8, 15, 2, 0, time.UTC))
	w.Run(0, "start", "demo")
	w.Setpoint(time.Second, 131084.35)
	w.Run(2*time.Second, "end", "")
	if err := w.Close(); err != nil {
		fmt.Println(err)
	}
	io.Copy(os.Stdout, &f.Buffer)
	// Output:
	// run,event=start text="demo",mono_ns=0i 1773476102000000000
	// setpoint pressure_pa=131084.35 1773476103000000000
	// run,event=end text="end",mono_ns=2000000000i 1773476104000000000
	// chain lines=3i,sha256="8fd5e0bb865c1e520f463c20149b8955f653ce8d63ea144d7a27f2898c44fd42",mono_ns=2000000000i 1773476104000000000
}
