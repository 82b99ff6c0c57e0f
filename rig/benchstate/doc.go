// Package benchstate keeps what a bench must remember from one run to the next,
// in a folder of its own: who controls it now, whether it is locked out and why,
// the run that was cut off, when its switches were seen to work, and how it was
// when it was last characterised.
//
//	<XDG_STATE_HOME>/proofpot/<bench id>/lock         held by the one controller; says who it is
//	<XDG_STATE_HOME>/proofpot/<bench id>/state.toml   the rest
//
// XDG_STATE_HOME is ~/.local/state where it is not set (XDG Base Directory
// Specification, version 0.8). The lock is the kernel's and ends with the process
// that holds it, however that ends; the text in it is only for people.
package benchstate
