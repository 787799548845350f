// Package retail holds the retailer's own records as plain values: regions,
// stores, staff, the catalogue of shoe models, runners, fittings, sales and
// events. They are what the simulator makes, the CSV files carry and the
// database keeps; the package itself knows no database and no HTTP.
//
// Codes are opaque words of 1–32 characters out of A–Z, 0–9, '-' and '.';
// people appear by code only. Lengths are whole millimetres, money is integer
// minor units of the store's currency, dates are YYYY-MM-DD and months YYYY-MM
// in the store's own zone.
package retail
