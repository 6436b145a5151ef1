// Package picture draws the charts of the performance note. They are few, small
// and plain, and say nothing in a language of their own: every word and number on
// them is passed in.
package picture
