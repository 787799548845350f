package stats

import (
	"encoding/json"
	"math"
)

// Float is a number that may be undefined. The zero Float is undefined; in
// JSON an undefined Float is null, so a result never shows a made-up 0.
type Float struct {
	V  float64
	OK bool
}

// None is the undefined Float.
var None Float

// Some returns v as a defined Float, or None where v is NaN or infinite.
func Some(v float64) Float {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return None
	}
	return Float{V: v, OK: true}
}

// MarshalJSON writes the number, or null where it is undefined, NaN or
// infinite (JSON has no word for the last two).
func (f Float) MarshalJSON() ([]byte, error) {
	if !f.OK || math.IsNaN(f.V) || math.IsInf(f.V, 0) {
		return []byte("null"), nil
	}
	return json.Marshal(f.V)
}

// UnmarshalJSON reads a number, or null as undefined.
func (f *Float) UnmarshalJSON(b []byte) error {
	var v *float64
	if err := json.Unmarshal(b, &v); err != nil {
		return err
	}
	*f = None
	if v != nil {
		*f = Some(*v)
	}
	return nil
}
