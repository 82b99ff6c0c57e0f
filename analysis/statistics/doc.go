// Package statistics says what the tests of many units tell about a design:
// from the depths at which they first failed, known only to lie between two
// levels, or to lie deeper than the bench went, to a bound below which a stated
// share of such units stays tight, and to the difference between two ways of
// building them. It is pure: observations in, estimates with their bounds and
// doubts out. The README of this folder has the methods, their sources, and how
// often each bound holds what it promises.
package statistics
