// Package ms58xx is what the pressure sensors MS5837 and MS5803 share: the
// calibration words with their CRC-4, the compensation of first and second
// order, and the conversation over I2C. The parts themselves, with their data
// sheets, are in ms5837 and ms5803.
//
// Sources: the calculation flow of each part's data sheet; application note
// AN520 (TE Connectivity) for the CRC-4. The second order of the data sheets has
// no worked example: its constants are checked against values worked out by
// somebody else from the same flow charts, see testdata/reference.
//
// # What can be trusted
//
// The calibration words carry a CRC; the two numbers of a measurement (D1 for
// pressure, D2 for temperature) carry none. A bit that the bus turns over in one
// of them is a wrong pressure that only its neighbours in time show: see
// sensors/health, jumping. 0, what the part says when asked too early, and
// FFFFFF hex, what a bus without a part reads, are faults.
//
// A measurement asks for D2 first, then D1, each at the highest oversampling.
package ms58xx
