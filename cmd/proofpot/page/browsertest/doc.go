// Package browsertest tries the operator's page as a person does: the real
// command serves it, a real browser shows it. It holds tests alone.
package browsertest
