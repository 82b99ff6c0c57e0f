package record

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"proofpot/sensors"
)

// disk is a File whose disk is slow, full or broken.
type disk struct {
	memory
	writes    []int         // sizes
	delay     time.Duration // of a sync
	room      int           // bytes until it is full; negative: endless
	writeErr  error
	syncErr   error
	syncedAt  []time.Time
	syncedLen int
}

func (d *disk) Write(p []byte) (int, error) {
	if d.writeErr != nil {
		return 0, d.writeErr
	}
	if d.room >= 0 && len(p) > d.room {
		n, _ := d.memory.Write(p[:d.room])
		d.room = 0
		return n, syscall.ENOSPC
	}
	if d.room >= 0 {
		d.room -= len(p)
	}
	d.writes = append(d.writes, len(p))
	return d.memory.Write(p)
}

func (d *disk) Sync() error {
	time.Sleep(d.delay)
	if d.syncErr != nil {
		return d.syncErr
	}
	d.syncedAt, d.syncedLen = append(d.syncedAt, time.Now()), d.Len()
	return nil
}

func pressure(at time.Duration) []sensors.Reading {
	return []sensors.Reading{{Sensor: "p1", Quantity: sensors.ChamberPressure, Value: 101325, At: at}}
}

func TestAReadingIsOnTheDiskWithinASecondAndAStageAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &disk{room: -1, delay: 400 * time.Millisecond}
		w := NewWriter(d, start)
		for i := range 100 {
			at := time.Duration(i) * 100 * time.Millisecond
			w.Readings(pressure(at))
			before := time.Now()
			if err := w.Flush(at); err != nil {
				t.Fatal(err)
			}
			if time.Since(before) > 0 {
				t.Fatal("the bench waited for the disk")
			}
			time.Sleep(100 * time.Millisecond)
			if late := w.Unsynced(); late > time.Second {
				t.Fatalf("a reading is unsynced for %s", late)
			}
		}
		time.Sleep(2 * time.Second)
		synctest.Wait()
		if n := len(d.writes); n > 21 || n != len(d.syncedAt) {
			t.Fatalf("%d writes and %d syncs in ten seconds, want one of each a batch", n, len(d.syncedAt))
		}
		d.delay = 0
		w.Stage(10*time.Second, "hold", 0, "shallow", 3, 130e3)
		w.Flush(10 * time.Second)
		synctest.Wait()
		if !d.syncedAt[len(d.syncedAt)-1].Equal(time.Now()) || w.Unsynced() != 0 || w.Synced() != int64(d.Len()) {
			t.Fatal("a stage change was not synced at once")
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
	})
}

func TestADiskThatDoesNotAnswerStopsTheRunAndNotTheBench(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &disk{room: -1, delay: 45 * time.Second}
		w := NewWriter(d, start)
		var said time.Duration
		for i := range 600 {
			at := time.Duration(i) * 100 * time.Millisecond
			w.Readings(pressure(at))
			if err := w.Flush(at); err != nil && said == 0 {
				said = at
				if !strings.Contains(err.Error(), "not answered") {
					t.Fatal(err)
				}
			}
			time.Sleep(100 * time.Millisecond)
		}
		if said < lateAfter || said > lateAfter+time.Second {
			t.Fatalf("said after %s", said)
		}
		if err := w.Close(); err != nil { // it answered in the end: all is there
			t.Fatal(err)
		}
		if ls, in := readAll(t, bytes.NewReader(d.Bytes())); !in.Intact || in.Unchained != 0 || len(ls) < 600 {
			t.Fatalf("%d lines, %+v", len(ls), in)
		}
	})
}

func TestEachWayADiskFailsIsSaid(t *testing.T) {
	for _, c := range []struct {
		err error
		set func(*disk, error)
	}{
		{syscall.ENOSPC, func(d *disk, _ error) { d.room = 100 }},
		{syscall.EROFS, func(d *disk, err error) { d.writeErr = err }},
		{syscall.EIO, func(d *disk, err error) { d.writeErr = err }},
		{syscall.EIO, func(d *disk, err error) { d.syncErr = err }},
	} {
		synctest.Test(t, func(t *testing.T) {
			d := &disk{room: -1}
			w := NewWriter(d, start)
			w.Readings(pressure(0))
			w.Flush(0)
			time.Sleep(time.Second)
			synctest.Wait()
			safe := w.Synced()
			c.set(d, c.err)
			var err error
			for i := range 20 {
				at := time.Duration(i+1) * 100 * time.Millisecond
				w.Readings(pressure(at))
				err = w.Flush(at)
				time.Sleep(100 * time.Millisecond)
			}
			if !errors.Is(err, c.err) || !errors.Is(w.Err(), c.err) {
				t.Fatalf("%v: the run is told %v", c.err, err)
			}
			if w.Synced() != safe || w.Unsynced() == 0 && d.syncErr == nil {
				t.Fatalf("%v: %d bytes acknowledged after the fault", c.err, w.Synced()-safe)
			}
			if err := w.Close(); !errors.Is(err, c.err) {
				t.Fatalf("%v: closed with %v", c.err, err)
			}
		})
	}
}

func TestADiskThatGetsRoomAgainHasEveryLine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &disk{room: 333}
		w := NewWriter(d, start)
		for i := range 100 {
			at := time.Duration(i) * 100 * time.Millisecond
			w.Readings(pressure(at))
			w.Flush(at)
			if i == 60 {
				synctest.Wait()
				d.room = -1
			}
			time.Sleep(100 * time.Millisecond)
		}
		w.Run(10*time.Second, "abort", "the record broke")
		if err := w.Close(); !errors.Is(err, syscall.ENOSPC) {
			t.Fatalf("a full disk is forgotten: %v", err)
		}
		ls, in := readAll(t, bytes.NewReader(d.Bytes()))
		if !in.Intact || in.Unchained != 0 || in.TornBytes != 0 || len(ls) < 101 {
			t.Fatalf("%d lines, %+v", len(ls), in)
		}
	})
}

func TestAFullDeviceOfTheSystemIsSaid(t *testing.T) {
	f, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	if err != nil {
		t.Skip("no /dev/full here")
	}
	w := NewWriter(f, start)
	w.Note(0, "first")
	if err := w.Close(); !errors.Is(err, syscall.ENOSPC) {
		t.Fatal(err)
	}
}

func TestAQueueThatIsFullIsSaidNeverWaitedForAndLosesNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &disk{room: -1, delay: time.Hour}
		w := NewWriter(d, start)
		text := strings.Repeat("x", 1<<19)
		var err error
		for i := 0; i < 2*maxQueue/len(text) && err == nil; i++ {
			w.Note(0, text)
			err = w.Flush(0)
		}
		if err == nil || !strings.Contains(err.Error(), "fast enough") {
			t.Fatal(err)
		}
		w.Readings(pressure(time.Second)) // what is seen while the run ends
		w.Run(time.Second, "abort", "the record cannot be written")
		if err := w.Flush(time.Second); err == nil {
			t.Error("said once and no more")
		}
		lines := w.Lines()
		if err := w.Close(); err != nil {
			t.Error("all of it came to the disk in the end:", err)
		}
		if _, in := readAll(t, bytes.NewReader(d.Bytes())); !in.Intact || in.Lines < lines {
			t.Errorf("%d lines were written, the record is %+v", lines, in)
		}
	})
	synctest.Test(t, func(t *testing.T) {
		d := &disk{room: -1, delay: time.Second}
		w := NewWriter(d, start)
		w.Wait = true
		text := strings.Repeat("x", 1<<19)
		for range 100 {
			w.Note(0, text)
			if err := w.Flush(0); err != nil {
				t.Fatal(err)
			}
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
	})
}

func TestANumberThatIsNoneIsNotWrittenAndSaid(t *testing.T) {
	var f memory
	w := NewWriter(&f, start)
	w.Setpoint(0, math.Inf(1))
	if w.Err() == nil {
		t.Fatal("an infinite set-point was written")
	}
	w.Run(time.Second, "abort", "")
	if w.Close() == nil {
		t.Fatal("closed as if nothing were lost")
	}
	ls, in := readAll(t, &f.Buffer)
	if len(ls) != 3 || !in.Intact || ls[0].Measurement != Fault || ls[1].Event != "abort" {
		t.Fatalf("%+v %+v", ls, in)
	}
	if _, err := io.ReadAll(&f.Buffer); err != nil {
		t.Fatal(err)
	}
}

func TestARunThatGoesOnIsStampedFromItsStart(t *testing.T) {
	start := time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC)
	again := start.Add(time.Hour)
	var m memory
	w := NewWriter(&m, again)
	w.Since(start)
	w.Readings(pressure(time.Hour + 4*time.Second))
	w.Run(time.Hour+5*time.Second, "end", "vented")
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	r := NewReader(bytes.NewReader(m.Bytes()))
	var l Line
	for _, want := range []struct {
		s    time.Duration
		mono int64
	}{{4, -1}, {5, 5e9}, {5, 5e9}} {
		if err := r.Next(&l); err != nil || l.TimeNS != again.Add(want.s*time.Second).UnixNano() || l.MonoNS != want.mono {
			t.Errorf("%d since 1970, %d since it was opened again, %v; want %d s behind %s", l.TimeNS, l.MonoNS, err, want.s, again)
		}
	}
}

// TestValuesOfOneMomentAreAllKept: a machine that was held up reads several lines
// of a serial port at once, and they all came at that moment.
func TestValuesOfOneMomentAreAllKept(t *testing.T) {
	var m memory
	w := NewWriter(&m, time.Unix(1773476102, 0))
	var rs []sensors.Reading
	for _, pa := range []float64{101325, 101326, 101325} {
		rs = append(rs, sensors.Reading{Sensor: "p1", Quantity: sensors.ChamberPressure, Value: pa, At: time.Second},
			sensors.Reading{Sensor: "p1", Quantity: sensors.ChamberWater, Value: 12, At: time.Second})
	}
	rs = append(rs, sensors.Reading{Sensor: "p2", Quantity: sensors.ChamberPressure, Value: 5, Raw: 6, HasRaw: true, At: time.Second},
		sensors.Reading{Sensor: "p2", Quantity: sensors.ChamberWater, Value: 7, Raw: 8, HasRaw: true, At: time.Second})
	w.Readings(rs)
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	var got []string
	r := NewReader(bytes.NewReader(m.Bytes()))
	var l Line
	for r.Next(&l) == nil && l.Measurement == Chamber {
		got = append(got, fmt.Sprint(l.PressurePa, l.WaterC, l.Raw))
	}
	if want := []string{"101325 12 NaN", "101326 12 NaN", "101325 12 NaN", "5 NaN 6", "NaN 7 8"}; !slices.Equal(got, want) {
		t.Errorf("the record holds %q, want %q", got, want)
	}
}
