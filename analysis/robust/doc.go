// Package robust finds levels, trends and steps in readings of which some are
// wrong: medians where others take means, ranks where others take sizes.
//
// Every answer carries its doubt, a 95 % interval or a probability, and its
// second result is false when there is too little to give one: never a number
// that only looks like an answer. Intervals and probabilities take the values as
// independent. Days are not; Autocorrelation and EffectiveSize say how far from
// it, Trend.Correlated makes allowance.
//
// Values that are NaN or infinite, and pairs with one, are left out. The order
// of the rest is kept, and nothing given is written to.
//
// Sources: Theil 1950 and Sen 1968 for the slope; Mann 1945 and Kendall 1975 for
// the trend; Gilbert, Statistical Methods for Environmental Pollution
// Monitoring, 1987, chapters 16 and 17, for both with ties; Pettitt, Applied
// Statistics 28 (1979) 126-135, for the step; Hodges and Lehmann 1963 for its
// size.
package robust
