// Package calibration finds what is to be added to the readings of a pressure
// sensor, and how far it may still be off.
//
// Reference pressures are the caller's: a gauge's, or a water column's of known
// height, each with its standard uncertainty. The correction is a polynomial of
// the reading (zero: a constant; two points: a straight line), fitted by least
// squares through a QR factorisation. A zero at open vent shifts the correction
// that held before it and leaves its slope.
//
// The uncertainty is a budget after JCGM 100:2008 (GUM): the reference, the
// repeatability of the points, the residuals of the fit, hysteresis and
// resolution as rectangular distributions (4.3.7), and a coverage factor for
// 95.45 % from the effective degrees of freedom (G.4.1). Where the points leave
// no residuals, the sensor's accuracy class stands for them, rectangular too.
package calibration
