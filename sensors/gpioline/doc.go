// Package gpioline reads one digital line as a two-state sensor: a wet probe, a
// lid switch, an emergency stop, a float switch.
//
// # Wiring
//
// active says which level is the state that must not be missed: wet, open,
// pressed (1 of the reading). bias is what holds the line when its wire is
// broken.
//
// Emergency stop, lid and float switch are wired normally closed: the contact is
// closed while all is well, from the line to ground, with pull-up, active high.
// A pressed stop, an open lid and a broken wire then all read high. A file that
// says otherwise (pull-up and active low) would take a broken wire for a shut
// lid: it is refused. So is a bias left as the board has set it; with
// bias = "none" the resistor is yours, and so is the care.
// (Closed-circuit principle: ISO 13850:2015, 4.1.5 wants a stop that a broken
// wire does not defeat. A line of a small computer is no safety circuit: the
// stop must cut the supply by itself, too.)
//
// A wet probe of two electrodes from the line to ground, with pull-up, is active
// low. Its broken wire reads dry; a probe with a resistor at its end, read by a
// converter, shows that. Touch it with a wet finger before each run.
//
// # What a reading can be
//
// The line is read a hundred times a second on a goroutine of its own, since a
// chip behind a bus can make the kernel wait. A level counts when it has stood
// for the debounce time; a change is told at once, and the state again every
// interval. A line that finds no rest for a second is Garbled. A line that
// cannot be read (chip unplugged, line taken away) is Disconnected and is asked
// for again twice a second; one whose chip does not answer is NoReading after
// five intervals. No fault is ever a dry probe or a shut lid: it has no value.
package gpioline
