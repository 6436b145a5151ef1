// Package site holds the site record: what the engineer knows about one
// installation, written once in YAML. Everything but the identity and the
// time zone is optional; what is missing makes some answers "not known".
//
// Reading a record is strict: a key that is not known, a value out of range
// or two values that contradict each other are errors, all of a file's at
// once, each with its line and what would be right. A guess costs a homeowner
// more than a second look at the file.
//
// The limits of a value stand once, in the jsonschema tag of its field in
// record.go: Parse reads them through Schema, so that an editor which checks
// against the schema and coldweek say the same. Rules between values, which a
// schema cannot express, are in the rules files.
package site
