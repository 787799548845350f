package assess

// Flags mark a reading that needs a look, without changing its verdict.
type Flags uint32

// The flags, one bit each; FlagWords gives their words in the same order.
const (
	FlagThroughWithDepth  Flags = 1 << iota // grade 4 with depth above 0
	FlagFreshWithoutDepth                   // grade 0 with depth under a quarter of new
	FlagGradeAgainstDepth                   // grade and depth two or more apart
	FlagSquareWithTilt                      // square with |tilt| of 4° or more by photo
	FlagPossibleFault                       // possible fault of the shoe
	FlagVerdictDiffers                      // the sender's advised verdict differs from the server's
	FlagClockOff                            // the sender's clock was over 5 minutes off
	FlagPairContradicts                     // the pair's readings contradict each other
	FlagGivenLess                           // given less than advised
	FlagNoModel                             // judged without the model's as-new mask
	FlagGaitAfter                           // gait was recorded after the wear was read
	FlagSecondUnproven                      // the second person was named off line, and proved nothing
	FlagSecondSaid                          // what the second reader says is the reader's word alone
)

// FlagWords are the words of the flags, by bit.
var FlagWords = []string{
	"through-with-depth", "fresh-without-depth", "grade-against-depth", "square-with-tilt",
	"possible-fault", "verdict-differs", "clock-off", "pair-contradicts", "given-less", "no-model", "gait-after",
	"second-unproven", "second-said",
}

// A zone called fresh contradicts a depth under a quarter of new; a counter
// called square contradicts a photo of 4° or more. House values, no source.
const (
	freshUnderNum, freshUnderDen = 1, 4
	squareUnder                  = 400
)

// depthFlags flags a grade and a depth of one zone that can't both be.
func depthFlags(grade, depth, asNew int32, known bool) (flags Flags) {
	if grade == maxGrade && depth > 0 {
		flags |= FlagThroughWithDepth
	}
	if !known {
		return flags
	}
	if grade == 0 && depth*freshUnderDen < asNew*freshUnderNum {
		flags |= FlagFreshWithoutDepth
	}
	// A depth that is gone stands for 2 or anything worse.
	by := depthGrade(depth, asNew)
	if by < 2 && abs(grade-by) >= 2 || by == 2 && grade == 0 {
		flags |= FlagGradeAgainstDepth
	}
	return flags
}

// standFlags flags a counter called square that a photo shows tilted.
func standFlags(s *Shoe) Flags {
	if deg, ok := measure(s[Tilt], Tilt); ok && s[TiltBy].Is(ByPhoto) && s[Stand].Is(Square) && abs(deg) >= squareUnder {
		return FlagSquareWithTilt
	}
	return 0
}

// Contradiction names two values of one shoe that can't both be.
type Contradiction struct {
	Flag           Flags // one bit
	Shoe           Foot
	Check, Against Col
}

// Contradict lists the contradictions of a reading of model m, nil where the
// model is not known, so that they can be shown for correction. A reading that
// keeps them is judged all the same and stored flagged.
func Contradict(r *Reading, m *AsNew) (all []Contradiction) {
	if m == nil {
		m = &unknownModel
	}
	for f := Left; f <= Right; f++ {
		s := &r.Shoe[f]
		for z := HeelMedial; z < NumZones; z++ {
			g, ok := measure(s[z], z)
			d, deep := measure(s[z+DepthOf], z+DepthOf)
			if !ok || !deep || m.Built.Has(z) {
				continue
			}
			asNew, known := within(m.Depth[partOf(z)], 1, Columns[z+DepthOf].Max)
			flags := depthFlags(g, d, asNew, known)
			for flag := Flags(1); flag <= flags; flag <<= 1 {
				if flags&flag != 0 {
					all = append(all, Contradiction{flag, f, z, z + DepthOf})
				}
			}
		}
		if flag := standFlags(s); flag != 0 {
			all = append(all, Contradiction{flag, f, Stand, Tilt})
		}
	}
	return all
}
