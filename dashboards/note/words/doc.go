// Package words puts the performance note into a language: its texts, numbers,
// dates and money.
//
// A language is one file in languages, with the same keys and the same names in
// braces as English; the tests hold every file to that. To add one, copy en.yaml,
// name it by its tag, translate, and give each text that counts a form for every
// plural form the language has (the CLDR's cardinal forms: zero, one, two, few,
// many, other). Numbers are written by the CLDR as golang.org/x/text has it.
//
// A text is made of pieces, so that it stays known which of it are words, which a
// name or a date, and where each figure came from.
package words
