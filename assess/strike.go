package assess

// The strike index is where the centre of pressure first stands along the shoe,
// in percent of its length from the heel. Its thirds name the foot strike:
// 0–33.3 rearfoot, 33.4–66.6 midfoot, 66.7–100 forefoot; in whole percent, as it
// is kept, up to 33 and up to 66.
// Source: Cavanagh & Lafortune, J Biomech 1980;13:397–406.
const (
	lastRearfoot = 33
	lastMidfoot  = 66
	wholeShoe    = 100
)

// StrikeOf returns the foot strike of a strike index in percent: the place of
// its word in StrikeWords, unread for an index that is unread or off the shoe.
func StrikeOf(index Value) Value {
	switch n := index.Int(); {
	case !index.OK() || n < 0 || n > wholeShoe:
		return Unread
	case n <= lastRearfoot:
		return Of(Rearfoot)
	case n <= lastMidfoot:
		return Of(Midstrike)
	default:
		return Of(Forestrike)
	}
}

// Places in StrikeWords.
const Rearfoot, Midstrike, Forestrike = 0, 1, 2
