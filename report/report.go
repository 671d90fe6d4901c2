// Package report shows a fit.Result to people: a terminal table, response.csv,
// result.json and report.html with its plots.
//
// Nothing is computed here that a reader could take for a measurement: numbers
// come from the result as they are, rounded to their uncertainty. "±" is
// always U95, the expanded uncertainty for 95 % coverage (JCGM 100:2008,
// 6.2 and 7.2.6). A quantity that cannot be known is shown by its own sign
// with the reason, never as a number.
package report
