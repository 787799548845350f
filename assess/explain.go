package assess

// explain adds the finding of a hit, with the values it goes by.
func (j *judging) explain(h hit, out *Result) {
	i := j.e.byRank[h.rank()]
	r, f, c := &j.e.rules[i], h.foot(), h.col()
	out.Findings = append(out.Findings, Finding{
		Check: c, Shoe: f, Zone: NoCol, Part: r.part,
		Severity: r.severity, How: r.how, Rule: int(i), Code: j.e.set.Rules[i].Code,
	})
	x := &out.Findings[len(out.Findings)-1]
	switch r.If {
	case IfZone:
		x.Zone = c
		j.useZone(x, f, c)
		if r.press != Unread {
			j.use(x, f, pressOf(r.part))
		}
	case IfWholePart:
		first, n := r.part.Zones()
		for z := first; z < first+Col(n); z++ {
			j.useZone(x, f, z)
		}
	case IfStand:
		j.use(x, f, Stand)
		j.use(x, f, Tilt)
		if r.second != Unread {
			j.use(x, Both, SecondSays)
		}
		if j.tilt[f].ok {
			x.use(Tilt, AsNewValue, j.m.Tilt)
		}
	case IfTilt:
		j.use(x, f, Tilt)
		j.use(x, f, TiltU)
		if r.photos > 0 {
			j.use(x, f, TiltN)
		} else {
			j.use(x, f, TiltBy)
		}
		x.use(Tilt, AsNewValue, j.m.Tilt)
	case IfSide:
		j.use(x, Both, c)
		j.use(x, Both, againOf(c))
	case IfIndex:
		left, right := j.r.Shoe[Left][c], j.r.Shoe[Right][c]
		x.use(c, OfLeft, left)
		x.use(c, OfRight, right)
		x.use(c, OfIndex, symmetryIndex(left.Int(), right.Int()))
	case IfBand:
		j.use(x, f, c)
		x.use(c, AsNewValue, j.asNewBand(c))
	case IfBoth:
		x.use(c, OfLeft, j.r.Shoe[Left][c])
		x.use(c, OfRight, j.r.Shoe[Right][c])
		x.use(c, AsNewValue, j.asNewBand(c))
	case IfUneven:
		x.use(c, OfLeft, j.wear[Left][r.part].mean())
		x.use(c, OfRight, j.wear[Right][r.part].mean())
	case IfHardness:
		j.use(x, f, c)
		asNew := j.m.Asker
		if c == ShoreOutsole {
			asNew = j.m.Shore
		}
		x.use(c, AsNewValue, asNew)
	case IfCantRead:
		if c < NumZones {
			x.Zone = c
		}
		x.Part = partOf(c)
		j.use(x, f, c)
	case IfBeyond:
		v := j.r.KM
		if c == ColBoughtOn {
			v = j.r.AgeDays
		}
		x.use(c, AsRead, v)
		x.use(c, OfAdvice, Of(int(r.over)))
	case IfWord:
		j.use(x, f, c)
		switch c {
		case PressHeel, PressFore:
			x.Part = partOf(c)
			j.use(x, f, c+1)
		case Creases:
			j.beside(x, f)
		}
	}
}

// use adds the value of column c, if there is one.
func (j *judging) use(x *Finding, f Foot, c Col) { x.use(c, AsRead, j.r.Get(f, c)) }

// useZone adds the grade of a zone, or its depth where only that stands.
func (j *judging) useZone(x *Finding, f Foot, z Col) {
	switch g := j.grade[f][z]; {
	case g < 0:
	case j.r.Shoe[f][z].OK():
		j.use(x, f, z)
	default:
		j.use(x, f, z+DepthOf)
	}
}

// beside adds the lean that creases go with: deeper inside with leaning in,
// deeper outside with leaning out.
func (j *judging) beside(x *Finding, f Foot) {
	s := &j.r.Shoe[f]
	if s[Creases].Is(DeeperInside) && s[Stand].Is(LeansIn) || s[Creases].Is(DeeperOutside) && s[Stand].Is(LeansOut) {
		j.use(x, f, Stand)
	}
}

// use adds a value, if there is one.
func (f *Finding) use(c Col, as UsedAs, v Value) {
	if v == Unread || f.NUsed == MaxValues {
		return
	}
	f.Values[f.NUsed] = Used{Col: c, As: as, V: v}
	f.NUsed++
}

// partOf returns the part of the outsole that a column is about.
func partOf(c Col) Part {
	switch {
	case c < MidMedial, c == PressHeel:
		return Heel
	case c < ForeMedial:
		return Midfoot
	case c < ToeMedial, c == PressFore:
		return Forefoot
	case c < NumZones:
		return Toe
	}
	return NoPart
}

// mean returns the mean wear in hundredths of a grade, rounded.
func (w *partWear) mean() Value { return Of(roundDiv(100*int(w.sum), int(w.n*w.den))) }

// symmetryIndex returns the index in hundredths of a percent, rounded.
func symmetryIndex(left, right int) Value {
	return Of(roundDiv(symmetryScale*(right-left), right+left))
}

// roundDiv returns a/b rounded, halves away from zero; b > 0.
func roundDiv(a, b int) int {
	if a < 0 {
		return -((-a + b/2) / b)
	}
	return (a + b/2) / b
}
