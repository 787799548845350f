// Package models keeps the retailer's records in a database: SQLite in one
// file for a pilot store, PostgreSQL for a fleet. Both hold the same tables and
// give the same answers; the package is the only one that knows gorm and SQL.
//
// # Verbs
//
// Everything goes through [DB]. A verb takes a context first, names what it
// does, and returns values of assess, retail or this package; a write is one
// transaction and takes the [Actor] who did it. Nothing is deleted: rows are
// retired, voided or superseded. Errors are the sentinels of errors.go, with a
// message that says what to do, or an [assess.FieldError] where the input is wrong.
//
// # Conventions
//
// Instants are UTC with microseconds: timestamptz on PostgreSQL, an integer of
// microseconds since 1970 on SQLite. A local day (2026-10-05) and month
// (2026-10) come from the corrected instant and the store's IANA zone when a
// record is written, and are never rewritten by a later change of the zone.
// Money is minor units of the store's currency. Absent is NULL. Ids are UUIDs:
// uuid on PostgreSQL, a 16-byte blob on SQLite, in the same order.
//
// Stores, regions, accounts, devices and runners are known by their code, so a
// row reads without a join. A word of a closed list is its place in the list
// named by assess.Record, from 0.
//
// # An inspection is one row
//
// The ten zone grades of a shoe are ten characters in the order of
// assess.Columns: "1102314120", with '-' for unread and w, d, r, o for can't
// read because wet, dirty, repaired or other. The other words of a shoe are a
// string of the same kind, one character a column, in the order of [ShoeChecks];
// those of the pair in the order of [PairChecks]. Tilt has its own columns.
// Measures that are rare (depths, durometer, degrees, yaw) are rows of
// inspection_value.
//
// A pair's interval of life is [Life], a pure function of its readings; every
// write, amendment and void computes the whole pair anew in its transaction.
//
// # Who follows
//
// Every transaction that touches an inspection or a pair leaves rows in the
// table change. A follower reads them with [DB.Changes], which on PostgreSQL
// stops at the transaction horizon, because sequence numbers commit out of
// order.
package models
