// Package metrology knows by how much heat and electricity meters may be wrong,
// and what that makes of the heat and the SPF of a period.
//
// Limits are in percent of the true value, as the directive and the standards
// print them. Those of a meter are error limits: nothing is known of where
// inside them it stands, so each is taken as a rectangular distribution. Parts
// add as a root sum of squares and are quoted with k = 2, about 95 %
// (GUM, JCGM 100:2008, 4.3.7 and 6.2). The plain sum of the limits is what the
// law allows a complete meter; it is given beside.
//
// One meter's errors are systematic: what it misreads today it misreads all
// year, and no number of readings averages that out. So the limit of a period
// is the mean of the limits at its working points, weighted with heat. HeatSums
// carries what that needs, adds from day to day, and does not depend on the
// class of the meter: a class entered later changes the answer, not the days.
//
// What is not known is assumed and said, see Assumed. What cannot be answered
// is refused with false, not filled in.
//
// Sources. Directive 2014/32/EU (MID), Annex VI, for the sum of the three parts
// and the range of minimum differences, and Annex V, Table 2, for electricity:
// read. The three formulae of class 2: read as a maker of heat meters quotes
// them from EN 1434-1. From memory, not read: the flow sensor formulae of class
// 1 and 3, that Annex VI 7.1 caps class 1 at 5 % where EN 1434-1 has 3.5 %, and
// the tolerances of IEC 60751.
package metrology
