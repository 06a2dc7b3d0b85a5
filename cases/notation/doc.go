// Package notation is how the trade writes things down: names, numbers with
// units, money, moments, vehicle identification numbers, trouble codes and
// ids. It parses what somebody typed and prints what was kept, and refuses what
// cannot be, with words that say what would have been understood.
//
// # Numbers
//
// The digits are kept as typed, since '12.30' and '12.3' differ in what the
// display showed. The decimal mark is '.' or ','. Thousands may be grouped by
// ',' '.' a space or an apostrophe. One comma with exactly three digits behind
// it and one to three before it can mean either ('12,500'): it is refused, with
// both readings offered, unless
//
//   - the digits before it begin with 0 ('0,500'): decimal;
//   - there are more than three before it ('12345,678'): decimal;
//   - nobody reads the unit to a thousandth (km, mi, rpm): thousands; there a
//     single '.' with three digits behind it is refused instead;
//   - the currency has fewer than three digits ('1,250 EUR'): thousands; there
//     too a single '.' with three digits behind it is refused.
//
// Exponents, hexadecimal, NaN and infinities are not numbers here. 'OL' is over
// the instrument's range and needs a unit.
//
// # Units
//
// Units are kept as UCUM codes (unitsofmeasure.org), case-sensitive; one table
// holds them with what is typed for each. Upper and lower case are told apart
// only where they must be: the prefixes M and m, and H (henry) and h (hour), S
// (siemens) and s. 'k', 'K', 'M' and 'R' alone are kilohm, kilohm, megohm and
// ohm; 'F' and 'C' alone are temperatures, since nobody measures a whole farad
// or coulomb on a vehicle.
package notation
