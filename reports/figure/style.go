package figure

import _ "embed"

// Style is how the classes of a drawing look, as a style sheet that asks for
// the variables of a theme.
//
//go:embed figure.css
var Style string

// theme is the light theme of the pages, for a file that has none around it.
const theme = `:root{--paper:#f8faf4;--paper-band:#edf2e8;--ink:#16222a;--ink-2:#43535a;--rule:#b4c4b4;--edge:#687d71;--madder:#9a1f43;--band:#16222a1f;` +
	`--w0:#fbfcf8;--w1:#eed6dc;--w2:#d797a8;--w3:#9c3f5d;--w4:#4b0e27;--cat-neutral:#0072b2;--cat-in:#c04f00;--cat-out:#00795a;` +
	`--face:system-ui,sans-serif;--face-label:sans-serif}` + "\n"
