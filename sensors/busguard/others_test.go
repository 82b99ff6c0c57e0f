package busguard

import (
	"errors"
	"io"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/onewire"
	"periph.io/x/conn/v3/spi"
)

// wire is a 1-Wire bus and a connection on SPI that do what a test says.
type wire struct{ tx func(w, r []byte) error }

func (wire) String() string                           { return "wire" }
func (f wire) Tx(w, r []byte, _ onewire.Pullup) error { return f.tx(w, r) }
func (wire) Search(bool) ([]onewire.Address, error)   { return []onewire.Address{1}, nil }

type fullDuplex struct{ wire }

func (f fullDuplex) Tx(w, r []byte) error       { return f.tx(w, r) }
func (fullDuplex) Duplex() conn.Duplex          { return conn.Full }
func (fullDuplex) TxPackets([]spi.Packet) error { return nil }

// guarded are the same transfers over both.
func guarded(tx func(w, r []byte) error) map[string]interface {
	Close() error
	String() string
} {
	return map[string]interface {
		Close() error
		String() string
	}{
		"1-Wire bus 1": NewOneWire("1", wire{tx}, 0), "SPI 0.0": NewSPI("0.0", fullDuplex{wire{tx}}, 0),
	}
}

func send(bus any, w, r []byte) error {
	if o, ok := bus.(onewire.Bus); ok {
		return o.Tx(w, r, onewire.WeakPullup)
	}
	return bus.(spi.Conn).Tx(w, r)
}

func TestOtherBusesAreGuardedAsI2CIs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var how atomic.Pointer[func(w, r []byte) error]
		set := func(f func(w, r []byte) error) { how.Store(&f) }
		for name, bus := range guarded(func(w, r []byte) error { return (*how.Load())(w, r) }) {
			if bus.String() != name {
				t.Errorf("%s calls itself %v", name, bus)
			}
			set(func(w, r []byte) error { copy(r, w); return nil })
			r := []byte{7, 8}
			if err := send(bus, []byte{1, 2}, r); err != nil || r[0] != 1 || r[1] != 2 {
				t.Errorf("%s: % x %v", name, r, err)
			}
			set(func([]byte, []byte) error { return nil })
			if err := send(bus, []byte{1, 2}, r); err != nil || r[0] != 1 {
				t.Errorf("%s: what the bus left as it was reads % x, %v", name, r, err)
			}
			set(func(_, r []byte) error { clear(r); return io.ErrUnexpectedEOF })
			if err := send(bus, []byte{1, 2}, r); !errors.Is(err, io.ErrUnexpectedEOF) || !strings.HasPrefix(err.Error(), name+": ") || r[0] != 1 {
				t.Errorf("%s: % x %v", name, r, err)
			}
			release := make(chan struct{})
			set(func(_, r []byte) error { <-release; clear(r); return nil })
			start := time.Now()
			if err := send(bus, []byte{1, 2}, r); !errors.Is(err, ErrHangs) || time.Since(start) != Timeout {
				t.Errorf("%s: %v after %v", name, err, time.Since(start))
			}
			if err := send(bus, []byte{1, 2}, r); !errors.Is(err, ErrHangs) || time.Since(start) != Timeout {
				t.Errorf("%s: the next one waits: %v after %v", name, err, time.Since(start))
			}
			close(release)
			synctest.Wait()
			set(func(w, r []byte) error { copy(r, w); return nil })
			if err := send(bus, []byte{3, 4}, r); err != nil || r[0] != 3 {
				t.Errorf("%s does not come back: % x %v", name, r, err)
			}
			if err := errors.Join(bus.Close(), bus.Close()); err != nil {
				t.Error(err)
			}
			if err := send(bus, []byte{1}, r); !errors.Is(err, ErrClosed) {
				t.Errorf("%s: %v", name, err)
			}
			switch b := bus.(type) {
			case *OneWire:
				if found, err := b.Search(false); err == nil {
					t.Errorf("it searches: %v", found)
				}
			case *SPI:
				if b.Duplex() != conn.Full || b.TxPackets(nil) == nil {
					t.Error("packets go past the guard")
				}
			}
		}
	})
}
