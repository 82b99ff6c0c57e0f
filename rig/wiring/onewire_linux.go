package wiring

import (
	"fmt"
	"strconv"

	"periph.io/x/conn/v3/onewire"
	"periph.io/x/host/v3/netlink"
)

// openOneWire opens the kernel's w1_bus_masterN, through its netlink connector.
func openOneWire(number string) (onewire.BusCloser, error) {
	n, err := strconv.ParseUint(number, 10, 32)
	if err != nil {
		return nil, fmt.Errorf("1-Wire bus %q: %w", number, err)
	}
	bus, err := netlink.New(uint32(n))
	if err != nil {
		return nil, fmt.Errorf("1-Wire bus %q cannot be opened: %w; its kernel module must be loaded and the program be allowed to use it (CAP_NET_ADMIN); without bus = the kernel's files are read, which every user may", number, err)
	}
	return bus, nil
}
