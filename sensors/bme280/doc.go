// Package bme280 knows the sensors BME280 (pressure, temperature, humidity) and
// BMP280 (without humidity), on I2C at address 76 or 77 hex.
//
// Data sheets: Bosch BST-BME280-DS002 and BST-BMP280-DS001. Register addresses,
// the reset word, measuring times (BME280, 9.1) and the arithmetic in floating
// point (8.1, BMP280: 8.1) are from memory, checked against the worked example
// and values computed by somebody else: see testdata/reference. Known errors:
//   - BMP280, 3.12: prints 100653.27 Pa, which needs t_fine kept as a fraction;
//     the sheet's own code cuts it to an integer and gives 100653.258. Here it is
//     kept.
//   - the code of both sheets cuts humidity to 0 to 100 %. Here nothing is cut.
//
// The part carries no check words. What protects a value instead: calibration
// and result are read twice and must agree, and each result is read together
// with the settings, which are 0 after a loss of power and all ones on a bus
// without a part.
//
// It measures when it is asked to (forced mode), pressure sixteen times and
// temperature twice over, filter off, so that one measurement has nothing of the
// one before. Its temperature is some tenths of a degree above the air's.
package bme280
