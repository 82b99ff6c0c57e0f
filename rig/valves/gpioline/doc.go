// Package gpioline drives a valve's relay, or a heartbeat, on a digital line
// (sensors/gpiochip has the kernel's interface).
//
// The line is taken over at the level at which its coil has no power, so that no
// relay moves when the program starts. It is read back as the kernel drives it,
// after each command: that the line is driven, not that the valve has moved.
//
// When the process ends, however it ends, the kernel takes the line back and it
// becomes an input. A relay board whose inputs are pulled towards their rest then
// lets go, and the valve goes to its rest; fit a resistor to a board that has
// none, and try it: pull the cable to the board and listen.
package gpioline
