// Package valves drives the fill and the vent of a bench, and a regulator where
// it has one. Each output has a goroutine of its own, so that a write that hangs
// hangs neither the loop nor the other valve: Drive posts what is wanted, reports
// what went wrong with what was posted before, and says so when an output has
// not come back in time. Below it one folder a device.
//
// # What keeps this safe
//
// The fill opens only while the vent is known to stand shut. The vent never waits
// for the fill. A pulse is ended here and not by the loop, and so is a fill that
// stands open while no further command comes: two seconds without one shut it.
// The heartbeat changes with each command, but not while an output hangs or a valve
// cannot be told: the watchdog relay then takes the valves' power, which is what is
// left to do.
//
// # When the process ends
//
// Close shuts the fill, opens the vent, waits until both have been taken and
// then lets go of the outputs. A process that is killed cannot: the kernel takes
// back its GPIO lines, which become inputs, a relay board's own pull takes them
// to its rest, and the valves go to theirs, fill shut and vent open. A relay
// board without such a pull, or one behind a serial port, keeps what it was told
// last: there the watchdog relay on the heartbeat's line is what shuts the fill.
//
// A vent that is normally closed (on_power_loss = "hold") shuts again when its
// line is let go. After a run the chamber has the room's pressure by then; a cock
// beside it is what a person opens before the lid.
package valves
