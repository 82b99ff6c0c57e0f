// Package mutation tries the tests of the core: it changes one thing in limits
// and sequencer at a time and looks whether a test fails. It holds one test,
// which runs where it is asked for, and the list of the mutants that no test
// notices, each with its reason (SURVIVORS.md).
package mutation
