// Package export writes records for other programs: tables as CSV (RFC 4180)
// and Parquet, and line protocol in another unit of time. A table is wide (a row
// for each moment, a column for each quantity of each sensor) or long (a row for
// each value). A column's name carries its unit as in the record; pressures say
// that they are absolute. Every number is written so that it reads back equal.
package export
