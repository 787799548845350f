package assess

// Foot tells the shoes of a pair apart.
type Foot uint8

// Left and Right index Reading.Shoe; Both marks a finding on the pair.
const (
	Left Foot = iota
	Right
	Both
)

// String returns left, right or pair.
func (f Foot) String() string { return [...]string{"left", "right", "pair"}[f] }

// Shoe holds what was read off one shoe, by column.
type Shoe [NumShoe]Value

// Reading is everything the engine judges: both shoes, the pair, and the few
// facts around them that rules use. Its zero value is a reading with nothing
// read. It holds no names, codes or times, so that judging can't depend on who
// read the shoe or when.
type Reading struct {
	Shoe [2]Shoe
	pair [NumPair]Value

	// SecondOn names the checks that the second reader read; empty with a
	// second reader means all.
	SecondOn ColSet
	// HasSecond says that a second reader took part. Rules go by what that
	// reader says, not by this.
	HasSecond bool

	// KM is the whole distance run, unread when unknown.
	KM Value
	// AgeDays is the time from purchase to the reading, unread when unknown.
	AgeDays Value
	// Surface is what the pair was run on, by place in Surfaces.
	Surface Value
}

// Surfaces are the words of the surface column.
var Surfaces = []string{"road", "trail", "track", "mixed"}

// Pair returns what was read once for the pair in column c, which must be one
// of the pair's columns.
func (r *Reading) Pair(c Col) Value { return r.pair[c-NumShoe] }

// SetPair stores v in the pair's column c.
func (r *Reading) SetPair(c Col, v Value) { r.pair[c-NumShoe] = v }

// Get returns column c of shoe f, or of the pair where f is Both.
func (r *Reading) Get(f Foot, c Col) Value {
	if f == Both {
		return r.pair[c-NumShoe]
	}
	return r.Shoe[f][c]
}

// Set stores v in column c of shoe f, or of the pair where f is Both.
func (r *Reading) Set(f Foot, c Col, v Value) {
	if f == Both {
		r.pair[c-NumShoe] = v
		return
	}
	r.Shoe[f][c] = v
}

// AsNew is what a shoe model is like out of the box: what can't be read
// because it was made so, and what worn values are compared with. The zero
// value is a model about which nothing is known.
type AsNew struct {
	// Built holds the zones made without rubber or pattern, one bit a zone.
	Built ColSet
	// NoRigidCounter says that the model has no rigid heel counter.
	NoRigidCounter bool
	// Plate says that the midsole holds a stiff plate.
	Plate bool
	// Trail says that the model is made for trail.
	Trail bool
	// Tilt is the counter's tilt and Lean its forward lean, hundredths of a degree.
	Tilt, Lean Value
	// Depth is the tread depth by part, tenths of a millimetre.
	Depth [NumParts]Value
	// Flex and Torsion are bands: Stiff, Moderate, Floppy.
	Flex, Torsion Value
	// Shore and Asker are durometer values in tenths.
	Shore, Asker Value
}
