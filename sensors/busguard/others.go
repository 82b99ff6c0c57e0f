package busguard

import (
	"errors"
	"time"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/onewire"
	"periph.io/x/conn/v3/spi"
)

// OneWire is a guarded 1-Wire bus. It is an onewire.Bus that any number of
// goroutines may use.
type OneWire struct {
	*guard
	bus onewire.Bus
}

// NewOneWire guards a 1-Wire bus; name and timeout as with New.
func NewOneWire(name string, bus onewire.Bus, timeout time.Duration) *OneWire {
	return &OneWire{newGuard("1-Wire bus "+name, "its data line may be shorted", timeout), bus}
}

// Tx implements onewire.Bus: reset, then one transfer. Where the error is not nil,
// r is as it was.
func (o *OneWire) Tx(w, r []byte, pull onewire.Pullup) error {
	return o.together(func() error {
		return o.transfer("", w, r, func(w, r []byte) error { return o.bus.Tx(w, r, pull) })
	})
}

// Search implements onewire.Bus. Parts have their addresses from bench.toml: a
// search would hold the bus for long.
func (o *OneWire) Search(bool) ([]onewire.Address, error) {
	return nil, errors.New(o.name + ": a bus that is in use is not searched")
}

// SPI is a guarded connection on SPI. It is an spi.Conn.
type SPI struct {
	*guard
	conn spi.Conn
}

// NewSPI guards a connection on SPI; the name is its place, "0.0", a timeout of 0
// is Timeout.
func NewSPI(name string, conn spi.Conn, timeout time.Duration) *SPI {
	return &SPI{newGuard("SPI "+name, "the kernel's driver does not end the transfer", timeout), conn}
}

// Tx implements spi.Conn. Where the error is not nil, r is as it was.
func (s *SPI) Tx(w, r []byte) error {
	return s.together(func() error { return s.transfer("", w, r, s.conn.Tx) })
}

// Duplex implements conn.Conn.
func (s *SPI) Duplex() conn.Duplex { return s.conn.Duplex() }

// TxPackets implements spi.Conn: no part of ours sends packets.
func (s *SPI) TxPackets([]spi.Packet) error { return errors.New(s.name + ": packets are not guarded") }
