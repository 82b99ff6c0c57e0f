// Package page is the operator's page: what a bench is doing, seen from a
// telephone or three metres away, and stopped with one touch. It serves what is
// embedded in the program and nothing from elsewhere. It drives no bench itself:
// commands go to the run's loop, which hands them to the sequencer, where they
// pass through the same limits as everything else.
package page
