package traffic

import (
	"bytes"
	"errors"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"periph.io/x/conn/v3/i2c/i2ctest"
)

// answering is a port that answers what it is asked.
type answering struct {
	come []byte
	fail error
}

func (a *answering) Write(b []byte) (int, error) {
	a.come = append(b[:len(b):len(b)], 0x55)
	return len(b), nil
}
func (a *answering) Read(b []byte) (int, error) {
	if len(a.come) == 0 {
		return 0, os.ErrDeadlineExceeded
	}
	n := copy(b, a.come)
	a.come = a.come[n:]
	return n, a.fail
}
func (*answering) Flush() error { return nil }
func (*answering) Close() error { return nil }

func TestWhatWasRecordedIsPlayedBack(t *testing.T) {
	var file bytes.Buffer
	now := time.Duration(0)
	r := NewRecorder(&file, func() time.Duration { now += time.Millisecond; return now })
	port := r.Port("/dev/pot 1", &answering{})
	buffer := make([]byte, 100)
	talk := func(p SerialPort) string {
		var said []string
		for _, ask := range []string{"one", "two"} {
			if _, err := p.Write([]byte(ask)); err != nil {
				t.Fatal(err)
			}
			n, err := p.Read(buffer)
			if err != nil {
				t.Fatal(err)
			}
			said = append(said, string(buffer[:n]))
			if _, err := p.Read(buffer); !errors.Is(err, os.ErrDeadlineExceeded) {
				t.Fatal(err)
			}
		}
		return strings.Join(said, " ")
	}
	want := talk(port)
	bus := r.Bus("1", &i2ctest.Playback{DontPanic: true, Ops: []i2ctest.IO{{Addr: 0x76, W: []byte{0xD0}, R: []byte{0x60}}}})
	answer := make([]byte, 1)
	if err := bus.Tx(0x76, []byte{0xD0}, answer); err != nil || answer[0] != 0x60 {
		t.Fatal(answer, err)
	}
	if err := bus.Tx(0x77, []byte{0xD0}, answer); err == nil {
		t.Fatal("a transfer that fails went well")
	}
	if err := r.Err(); err != nil {
		t.Fatal(err)
	}
	all, err := Load(&file)
	if err != nil || len(all) != 6 {
		t.Fatalf("%+v %v", all, err)
	}
	if all[0].At != time.Millisecond || all[5].Fail == "" || all[5].Addr != 0x77 {
		t.Errorf("%+v", all)
	}
	var reached time.Duration
	player := Play(all, "/dev/pot 1", func(at time.Duration) { reached = at })
	if got := talk(player); got != want || player.Left() != 0 || reached != 4*time.Millisecond {
		t.Errorf("%q, want %q; %d left at %v", got, want, player.Left(), reached)
	}
	if _, err := player.Write([]byte("three")); err == nil {
		t.Error("what was not recorded is taken")
	}
	if ops := I2C(all, "1"); len(ops) != 1 || ops[0].Addr != 0x76 || ops[0].R[0] != 0x60 {
		t.Errorf("%+v", ops)
	}
}

func TestAPortThatFailedFailsAgain(t *testing.T) {
	var file bytes.Buffer
	r := NewRecorder(&file, func() time.Duration { return 0 })
	port := r.Port("p", &answering{come: []byte("x"), fail: errors.New("unplugged")})
	port.Read(make([]byte, 1))
	all, err := Load(&file)
	if err != nil {
		t.Fatal(err)
	}
	player := Play(all, "p", nil)
	if n, err := player.Read(make([]byte, 9)); n != 1 || err != nil {
		t.Error(n, err)
	}
	if _, err := player.Read(make([]byte, 9)); err == nil || err.Error() != "unplugged" {
		t.Error(err)
	}
}

func TestWithoutARecorderNothingIsInBetween(t *testing.T) {
	var none *Recorder
	a := &answering{}
	if none.Port("x", a) != SerialPort(a) || none.Bus("x", nil) != nil {
		t.Error("something is")
	}
}

func TestADamagedFileNamesItsLine(t *testing.T) {
	for text, want := range map[string]string{
		"":                       "",
		"other\n":                "line 1: ",
		"L\nx serial a read 00":  "line 2: \"x\" is no time",
		"L\n1 serial a":          "line 2: a transfer has",
		"L\n1 can a read 00":     "line 2: \"can\" is no bus",
		"L\n1 serial a read 0":   "line 2: ",
		"L\n1 serial a eat 00":   "line 2: \"eat\" is nothing",
		"L\n1 i2c 1 xyz read 00": "line 2: \"xyz\" is no I2C address",
	} {
		_, err := Load(strings.NewReader(strings.Replace(text, "L", firstLine, 1)))
		if (err == nil) != (want == "") || err != nil && !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
}

func FuzzLoad(f *testing.F) {
	f.Add(firstLine + "\n1 serial a read 00\n2 i2c 1 76 write d0 read 60\n3 onewire 1 write 55 read -\n4 spi 0.0 write 0000 read 0051\n5 serial a%20b fail \"gone\"\n")
	f.Fuzz(func(t *testing.T, text string) {
		all, err := Load(strings.NewReader(text))
		if err != nil {
			return
		}
		for _, x := range all {
			if x.At < 0 || !slices.Contains([]string{"serial", "i2c", "onewire", "spi", "file"}, x.Bus) || x.Addr > 1023 {
				t.Fatalf("%+v", x)
			}
		}
	})
}
