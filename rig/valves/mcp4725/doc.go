// Package mcp4725 sets an electro-pneumatic pressure regulator through a 12-bit
// digital-to-analogue converter with an amplifier to 0–10 V behind it.
//
// Part: Microchip MCP4725, data sheet DS22039D (2009), from memory; address 0x60
// to 0x67, by part and pin A0.
//
//   - Fast mode write (figure 6-1): two bytes, 0 0 PD1 PD0 D11…D8, D7…D0.
//   - Write of register and EEPROM (figure 6-2): 0 1 1 x x PD1 PD0 x, D11…D4,
//     D3…D0 x x x x. RDY/BSY is low while the EEPROM is written, 25 ms typical, 50 ms
//     at most (table 1-1).
//   - Read (figure 6-3): five bytes, RDY/BSY POR x x x PD1 PD0 x, D11…D4,
//     D3…D0 x x x x, then the EEPROM: x PD1 PD0 x D11…D8, D7…D0.
//
// When power comes the part takes its output from the EEPROM, and the factory
// leaves half of full scale there: the regulator would fill the chamber's supply
// line to half its range before any program runs. New therefore reads the EEPROM
// and, where it holds anything but nothing, writes nothing into it, once.
//
// Output: V = full scale × code / 4096 (equation 4-1; full scale is what the
// amplifier gives at its supply, measured, so that its gain is in it).
package mcp4725
