// Package campaign breaks the simulated bench in every way that it can break, in
// every kind of stage of every built-in profile, and looks at what the core
// makes of it. It holds tests and the table that they give (README.md).
package campaign
