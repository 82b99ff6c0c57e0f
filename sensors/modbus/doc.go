// Package modbus reads transmitters on a serial line by Modbus RTU: pressure
// transmitters, thermometers and whatever else has registers, several on one
// RS-485 pair.
//
// Specifications, whose sections are named beside the code: "MODBUS over Serial
// Line, Specification and Implementation Guide V1.02" (2006) for the frame, its
// CRC and the silence between frames; "MODBUS Application Protocol Specification
// V1.1b3" (2012) for the functions and exceptions. Both from modbus.org. Only
// functions 3 (holding registers) and 4 (input registers) are used: nothing is
// ever written to a device.
//
// # What the manual of a transmitter says, and where it goes
//
//   - Port: baud, parity ("even" is the specification's default, "none" with one
//     stop bit is what most transmitters are set to) and stop_bits.
//   - modbus_address: 1 to 247.
//   - from: the register, counted from 0, as text: "0", "0x0004". A manual that
//     counts holding registers from 40001 means function 3 and one less:
//     40001 is from = "0". 30001 is function = 4, from = "0".
//   - type: int16, uint16, int32, uint32 or float32, and for those of two
//     registers word_order: "high-first" (the usual) or "low-first".
//   - decimals = 3 where 3214 means 3.214, or decimals_from, the register in
//     which the device says how many it has.
//   - unit_from and unit_code: the register in which the device shows its unit,
//     and what it holds while the unit is the one of bench.toml. Somebody who
//     sets the display to another unit then makes a fault and not a wrong
//     pressure. Without them a wrong unit is seen only at open vent.
//
// Two misprints in a public manual (of an LCR meter) show why the CRC has a
// table of its own: testdata/reference/modbus_rtu_crc.csv names them.
//
// # Timing
//
// One request is under way at a time. Before each, the line is silent for 3.5
// characters (1.75 ms above 19200 baud). What is left of an answer that came too
// late is thrown away first; one that comes in the middle of the next request to
// the same device cannot be told from its answer, and is older by the timeout at
// most. Adapters that echo the request are understood.
//
// # What a reading can be
//
// No answer in time is NoReading, an answer with a wrong CRC or of another
// device Garbled, an exception NoReading with its meaning. Five in a row, or a
// lost port, are Disconnected; the port is looked for under its name until it is
// back. A float32 that is no number is the device's own word that it has no
// value: NoReading.
package modbus
