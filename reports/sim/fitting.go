package sim

import (
	"iter"
	"time"

	"solewright/assess"
	"solewright/models/retail"
)

// House assumptions about fittings, in percent.
const (
	checkFittedPct = 10 // of the checks of which the runner had time, fitted though nothing is bought
	itemGonePct    = 1.5
	strikeIndexPct = 14
	referredPct    = 0.5
	triedPct       = 65 // of the fittings, those whose pairs tried on were written down
	possiblePct    = 40 // of the pairs tried and not chosen, those that were possible
)

// mostTried is how many pairs are tried on at most. House assumption.
const mostTried = 3

// Minutes between a fitting and the reading of the old pair.
const leastMinutes, moreMinutes = 6, 14

// Fittings yields the fittings, in the order of the visits they belong to: most
// before the old pair's wear is read, some after. What is known of gait and
// posture is the same in a runner's records. The pointer is good until the next
// turn of the loop.
func (f *Fleet) Fittings() iter.Seq[*retail.Fitting] {
	return func(yield func(*retail.Fitting) bool) {
		for h, p := range f.visits() {
			if h.sub > 0 || !h.fitted || p.by.anonymous {
				continue
			}
			fit, ok := f.fitting(h, p)
			if ok && !yield(fit) {
				return
			}
		}
	}
}

// fitting makes the fitting of a visit; ok is false where there was none.
func (f *Fleet) fitting(h *happening, p *pair) (fit *retail.Fitting, ok bool) {
	r, t := p.by, f.tables
	d := roll(derive(p.key, keyFitting, uint64(h.visit)))
	trade := p.visits[h.visit].kind == assess.TradeIn
	if !trade && !d.chance(pct(checkFittedPct)) {
		return nil, false
	}
	st := &f.stores[h.store]
	away := int64(leastMinutes+d.below(moreMinutes)) * 60_000
	at := h.at + away
	if h.before {
		at = h.at - away
	}
	fit = &retail.Fitting{
		ID:    uuidAt(time.UnixMilli(at), d.next(), d.next()),
		Store: f.Stores[h.store].Code, Staff: f.Staff[st.bench[h.reader]].Code,
		Runner: string(appendCode(nil, r.code)), At: time.UnixMilli(at).UTC(),
		Surfaces: []string{assess.Surfaces[p.surface]}, UsedFor: assess.Of(p.use),
		WeeklyKM:   assess.Of(int(r.volume) * 7 / 1000),
		BeforeWear: yes(h.before), OldPair: f.pairRef(p.serial),
		Referred: r.health && d.chance(pct(referredPct)),
	}
	for s := range fit.Foot {
		foot := &fit.Foot[s]
		foot.LengthMM, foot.WidthMM = int(r.length[s]), int(r.width[s])
		if r.health { // posture is health data: kept with consent only
			foot.Posture = items(&d, r.posture[s])
		}
	}
	if r.known {
		fit.Gait, fit.GaitBy = assess.Of(r.seen), assess.Of(d.below(len(assess.GaitByWords)))
		fit.Strike, fit.StrikeBy = assess.Of(r.strike), "seen"
		if d.chance(pct(strikeIndexPct)) {
			fit.StrikeBy = "index"
			for s := range fit.StrikeIndex {
				fit.StrikeIndex[s] = strikeIndex(r.strike, scale(6, t.normal[d.q()]))
			}
		}
	}
	if trade {
		next := *p
		if p.next == p.end && f.nextPair(&next) {
			fit.ChosenID = f.Models[next.model].ID
			fit.ChosenSize = f.label(r, r.size())
			if !next.elsewhere {
				fit.ChosenPair = f.pairRef(next.serial)
			}
		}
	}
	f.tryOn(&d, fit, r)
	return fit, true
}

// tryOn writes down the pairs that were tried on: the one that was chosen, if one
// was, among others of the day's catalogue.
func (f *Fleet) tryOn(d *dice, fit *retail.Fitting, r *runner) {
	if !d.chance(pct(triedPct)) {
		return
	}
	size, day := f.label(r, r.size()), fit.At.Format(time.DateOnly)
	at, n := d.below(mostTried), 1+d.below(mostTried)
	for i := range n {
		if i == at%n && !fit.ChosenID.IsZero() {
			fit.Tried = append(fit.Tried, retail.TriedPair{Model: fit.ChosenID, Size: fit.ChosenSize, Felt: retail.FeltWords[0], Outcome: retail.OutcomeWords[0]})
			continue
		}
		m := &f.Models[d.below(len(f.Models))]
		if m.ID == fit.ChosenID || m.Released > day || m.Retired != "" && m.Retired <= day {
			continue // not on the shelf
		}
		other := retail.TriedPair{Model: m.ID, Size: size, Felt: retail.FeltWords[0], Outcome: retail.OutcomeWords[1]}
		if !d.chance(pct(possiblePct)) {
			other.Felt, other.Outcome = retail.FeltWords[1+d.below(len(retail.FeltWords)-1)], retail.OutcomeWords[2]
		}
		fit.Tried = append(fit.Tried, other)
	}
}

// strikeThirds are the middles of the thirds of the strike index, percent of
// shoe length from the heel (Cavanagh & Lafortune 1980).
var strikeThirds = [strikes]int{rearfoot: 16, midfoot: 50, forefoot: 83}

// strikeIndex returns a strike index within the third of a strike.
func strikeIndex(strike int, off int32) assess.Value {
	return assess.Of(strikeThirds[strike] + min(max(int(off), -15), 15))
}

// items spreads a sum of the Foot Posture Index over its six items.
func items(d *dice, sum int32) (out [assess.PostureItems]assess.Value) {
	var v [assess.PostureItems]int32
	for step := min(max(sum, -1), 1); sum != 0; {
		if i := d.below(len(v)); v[i]*step < assess.MaxPostureItem {
			v[i] += step
			sum -= step
		}
	}
	for i := range out {
		out[i] = assess.Of(int(v[i]))
	}
	if d.chance(pct(itemGonePct)) {
		out[d.below(len(out))] = assess.Unread
	}
	return out
}
