// Package catalogue lists what a site record may name without figures of its
// own: the sizes in which pipes are sold, how rough they are inside, and what
// common fittings cost.
//
// The figures stand in pipes.csv and fittings.csv, each line with its source.
// They are what the trade reckons with, not a maker's promise: a fitting's own
// zeta or Kv, where known, belongs in the record.
package catalogue
