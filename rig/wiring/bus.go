package wiring

import (
	"io"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/onewire"

	"proofpot/sensors/busguard"
)

// How buses are opened; tests put others there.
var (
	openBus     = openI2C
	openWire    = openOneWire
	openSPIPort = openSPI
)

// buses are those of a bench that are open, by name.
type buses struct {
	i2c     map[string]*sharedBus[*busguard.Bus]
	oneWire map[string]*sharedBus[*busguard.OneWire]
}

func newBuses() buses {
	return buses{map[string]*sharedBus[*busguard.Bus]{}, map[string]*sharedBus[*busguard.OneWire]{}}
}

// sharedBus is a guarded bus that is open, for what hangs on it.
type sharedBus[G io.Closer] struct {
	guard G
	below io.Closer
	users int
}

// Close lets go of the bus for one of its users. A bus that hangs is left as it
// is: closing it would hang too.
func (b *sharedBus[G]) Close() error {
	if b.users--; b.users > 0 {
		return nil
	}
	if err := b.guard.Close(); err != nil {
		return err
	}
	return b.below.Close()
}

// share gives the bus of a name, opened for its first user.
func share[G, B io.Closer](open map[string]*sharedBus[G], name string, opener func(string) (B, error), guard func(B) G) (*sharedBus[G], error) {
	b := open[name]
	if b == nil || b.users == 0 {
		below, err := opener(name)
		if err != nil {
			return nil, err
		}
		b = &sharedBus[G]{guard: guard(below), below: below}
		open[name] = b
	}
	b.users++
	return b, nil
}

// i2cBus gives an I2C bus, whose traffic is recorded where that is asked for.
func (w shared) i2cBus(name string) (*sharedBus[*busguard.Bus], error) {
	return share(w.buses.i2c, name, openBus, func(below i2c.BusCloser) *busguard.Bus {
		return busguard.New(name, w.traffic.Bus(name, below), 0)
	})
}

// oneWireBus gives a 1-Wire bus, in the same manner.
func (w shared) oneWireBus(name string) (*sharedBus[*busguard.OneWire], error) {
	return share(w.buses.oneWire, name, openWire, func(below onewire.BusCloser) *busguard.OneWire {
		return busguard.NewOneWire(name, w.traffic.OneWire(name, below), 0)
	})
}
