// Package characterise finds what a bench is from its own records: what it leaks
// by itself (a blank run), how much volume it takes to raise its pressure
// (compliance), how much free gas is in it, and whether a leak of known size is
// recovered. It is pure: lines of a record, or points that a person typed, come
// in; figures with their uncertainty go out.
package characterise
