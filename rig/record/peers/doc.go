// Package peers measures the record beside others: the bare encoder of the
// line-protocol library and SQLite at the same durability, CSV and Parquet by size.
// It is a module of its own, so that what it takes for that is no part of proofpot:
//
//	cd rig/record/peers && go test -bench . -benchtime 2s
package peers
