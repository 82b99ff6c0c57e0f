// Package forward sends records, live and old, to a time-series engine by the
// open HTTP write interface for line protocol (POST /write). The record itself is
// the spool: what was acknowledged is remembered by its byte, in a file of its
// own; nothing is written to the record, and the run knows nothing of it. Sending a
// line twice changes nothing in the engine: same series, same time, same value.
package forward
