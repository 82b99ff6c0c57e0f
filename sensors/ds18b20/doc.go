// Package ds18b20 knows the thermometer DS18B20 on a 1-Wire bus: through the
// files of the kernel's w1_therm, or through a bus of periph's.
//
// Data sheet: Maxim Integrated DS18B20, 19-7487, Rev 6, 7/19 (from memory:
// scratchpad, commands, conversion of at most 750 ms at 12 bits, power supply
// command; the table of temperatures is in testdata/reference). Known errors and
// traps in it:
//   - 85 °C (0550 hex) is what the scratchpad holds after power on. No bit says
//     that nothing was measured, so that number is never taken for a temperature,
//     even where it is one.
//   - a scratchpad of zeros, from a bus that is shorted, has a right check byte. The
//     five bits of the configuration that always read 1 tell it apart.
//   - below 12 bits the lowest bits are undefined; they are left out.
//
// A part that takes its power from the data line (two wires) is refused on
// periph's bus: it reads 85 °C or an old value where the pull-up is too weak, and
// does not show that it measures. Under the kernel that is the kernel's affair.
//
// A part whose output has not changed because it did not measure looks like a
// steady one: on periph's bus each measurement must show that it runs, under the
// kernel each read of the file is one.
package ds18b20
