// Package chart draws what the plant did: one set of drawings for page, note
// and PDF.
//
// A chart is a plain struct of numbers. Its Draw method puts it on a Canvas,
// an interface of seven shapes with semantic roles instead of colours; Extent
// tells the size it comes out at, which may be larger than the Size asked for;
// its SVG method returns the bytes of a stand-alone picture. The same input
// gives the same bytes. Package pdf has a Canvas for the pages of a PDF.
//
// The package holds these opinions. A line over time is named where it ends,
// a cloud of points in a legend. What was not measured is shown as missing, in
// words, and no line crosses it. A chart without data says why, and counts
// what is still needed. However many readings share a pixel, their least and
// greatest are drawn, and of a cloud every outlier. What no sensor can have
// meant (NaN, infinities, beyond a million) has no place and is counted.
// Nothing is told by colour alone: lines have names, states have heights,
// doubtful days have hatching. Times are the site's wall clock, on days of 23
// and 25 hours too.
//
// Colours are presentation attributes and classes at once: inside a page that
// includes CSS() they follow its light or dark theme, alone they are the light
// palette. All lengths are CSS pixels with the origin at the top left.
package chart
