// Package assess reads a pair of worn running shoes: measurements in, verdict,
// reasons, wear pattern and hand-over grade out. It is pure: no I/O, no clock,
// no database, the standard library only, so the server and the browser
// (GOOS=js GOARCH=wasm) run the very same engine.
package assess
