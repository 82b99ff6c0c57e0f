// Package insidelogger puts what a logger inside the unit has kept beside the
// record of the run that it went through. Such a logger has a clock of its own:
// off by minutes or by a time zone, and some tens of millionths fast or slow.
//
// # How the clocks are set against each other
//
// The chamber squeezes the unit, so each ramp and the final vent show in the
// pressure inside, small but at once. At each of these events the logger's series
// is fitted by least squares as
//
//	inside(t) = a + b t + c p(t + o)
//
// with the chamber's pressure p from the record, and o, the offset of the
// logger's clock, is where the squares are least. Its uncertainty is from the
// curvature of the sum of squares there, widened for residuals that follow each
// other (by (1+r)/(1-r), r their correlation from one to the next). A straight
// line through the events gives offset and drift, its uncertainty widened by
// chi-square where the events agree less than they say. Events that the logger
// does not clearly show (c below five times its uncertainty) are left out.
//
// With one event the drift is not known: it is taken as 0 with a standard
// uncertainty of 50 millionths (usual crystals over a room's temperatures; common
// practice, no source). Where no event shows, as inside a stiff housing, two times
// that a person knows in both clocks do instead: a tap of warm hands, a lid
// opened.
//
// What is written, inside.lp beside readings.lp, is line protocol as format 1 has
// it (measurement unit, the logger's name as its sensor), with times of the
// record. readings.lp is not touched. inside.lp can be deleted and made again.
package insidelogger
