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
)

// FlagWords are the words of the flags, by bit.
var FlagWords = []string{
	"through-with-depth", "fresh-without-depth", "grade-against-depth", "square-with-tilt",
	"possible-fault", "verdict-differs", "clock-off", "pair-contradicts", "given-less", "no-model", "gait-after",
}
