// Package max31865 knows the converter MAX31865 for platinum thermometers (Pt100,
// Pt1000) on SPI.
//
// Data sheet: Maxim Integrated MAX31865, 19-6478, Rev 3, 7/15 (from memory:
// registers, fault cycle, times). Resistance: IEC 60751, see Celsius. Known errors
// and traps in it:
//   - the part has neither an identity nor a checksum: its settings and fault
//     limits are read back with each measurement, and everything is read twice.
//   - in one-shot mode nothing but a pin says that the number is new. So it
//     converts on its own while it measures, and the bit that says so is read.
//   - its straight line for a temperature without a computation is off by more
//     than 1 K above 100 °C; it is not used.
//
// Between two measurements the current through the element is off, so that it
// does not warm itself. Each measurement begins with the part's own search for
// broken and shorted wires. A Pt100 on two wires reads 2.6 K too warm for each
// ohm of its leads: use three or four.
package max31865
