// Package ingest holds the words every other package speaks: a Reading is one
// value of one Channel of one site at one time, a Unit is a UCUM code, and a
// Rejected is a message that could not become a reading and why.
//
// Values are kept in each channel's canonical unit (see Quantity.Unit): other
// units are converted once, where a reading comes in, and never later.
package ingest
