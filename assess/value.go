package assess

// Value is one thing read, or not read, off a shoe. The zero Value is unread,
// so a fresh reading claims nothing. Set values are whole numbers: a grade, the
// place of a word on its scale, or a measure in the column's smallest unit
// (hundredths of a degree, tenths of a millimetre).
type Value int32

// The values that are not a number. "Can't read" is an answer that somebody
// gave; unread is the absence of one.
const (
	Unread       Value = 0
	CantWet      Value = 2
	CantDirty    Value = 4
	CantRepaired Value = 6
	CantOther    Value = 8
)

// Of returns the set value n; n must lie within ±2^30.
func Of(n int) Value { return Value(n<<1 | 1) }

// OK reports whether v is set to a number.
func (v Value) OK() bool { return v&1 == 1 }

// Cant reports whether somebody looked and could not read it.
func (v Value) Cant() bool { return v != Unread && v&1 == 0 }

// Int returns the number of a set value, and 0 for any other.
func (v Value) Int() int {
	if !v.OK() {
		return 0
	}
	return int(v >> 1)
}

// Is reports whether v is set to n.
func (v Value) Is(n int) bool { return v == Of(n) }

// cantWords are the words behind "cant:", by value.
var cantWords = map[Value]string{
	CantWet: "wet", CantDirty: "dirty", CantRepaired: "repaired", CantOther: "other",
}
