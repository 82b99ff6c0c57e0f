package parttest

import (
	"errors"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/onewire"
	"periph.io/x/conn/v3/spi"
)

// OneWire makes a 1-Wire bus of one for I2C, so that its transfers are spoiled in
// the same ways: what is written and what is read after it, at address 0.
func OneWire(bus i2c.Bus) onewire.Bus { return oneWire{bus} }

type oneWire struct{ bus i2c.Bus }

func (o oneWire) String() string { return o.bus.String() }

func (o oneWire) Tx(w, r []byte, _ onewire.Pullup) error { return o.bus.Tx(0, w, r) }

func (oneWire) Search(bool) ([]onewire.Address, error) { return nil, errors.New("nothing is searched") }

// SPI makes a connection on SPI of a bus for I2C, in the same manner: as many
// bytes are read as are written.
func SPI(bus i2c.Bus) spi.Conn { return spiConn{bus} }

type spiConn struct{ bus i2c.Bus }

func (s spiConn) String() string               { return s.bus.String() }
func (s spiConn) Duplex() conn.Duplex          { return conn.Full }
func (s spiConn) TxPackets([]spi.Packet) error { return errors.New("no packets are sent") }

func (s spiConn) Tx(w, r []byte) error {
	if len(w) != len(r) {
		return errors.New("as many bytes are read as are written")
	}
	return s.bus.Tx(0, w, r)
}
