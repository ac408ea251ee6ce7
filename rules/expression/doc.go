// Package expression is the language of conditions and of derived channels: arithmetic, comparisons and functions over
// named readings, in numbers with units.
//
//	text ──▶ lexer ──▶ parser ──▶ Checker ──▶ closures over a row of readings
//	                                 ▲
//	                  names, units (Vocabulary)
//
// A rule compiles its condition and the values of its texts with a Checker, once for each wheel, axle or side that it
// stands for. A feed file reads its derived channels with New. Quantities are checked when an expression is compiled;
// what is compiled evaluates without allocation. NaN is unknown, and logic is three-valued.
//
// The package knows neither rules nor channels and imports nothing of Earshot but the reader of documents, for its
// suggestions. configs/rules/README.md is the manual of the language.
package expression
