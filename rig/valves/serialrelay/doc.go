// Package serialrelay drives valves through a relay board that obeys text
// commands over a serial port. One board with one port carries both valves; the
// commands come from bench.toml, and nothing is known of the board but them.
//
// A command is written whole. Where an answer is expected, the bytes that come
// within the time allowed must hold it; what the board said before a command was
// sent is thrown away first, so that a late answer is never taken for the next.
// Where the board can be asked, each command is followed by asking where the
// relay stands.
//
// A board that has a command for a pulse (pulse_text) shuts the fill by itself,
// whatever becomes of this process, its computer and the cable: each opening is
// such a pulse then, and nothing else opens the fill.
//
// Any other board keeps what it was told when this process ends or the cable is pulled.
// Close tells it nothing: the bank has by then shut the fill and opened the vent.
// What shuts the fill after a crash is the watchdog relay on the heartbeat's line,
// which takes the valves' power, and a board that drops its relays when it hears
// nothing, where it has such a setting.
package serialrelay
