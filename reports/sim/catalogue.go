package sim

import (
	"encoding/binary"
	"fmt"
	"slices"
	"time"

	"solewright/assess"
	"solewright/models/retail"
)

// The words of closed lists that the simulation names, by place.
const (
	highlySupinated, supinated, neutral, pronated, highlyPronated = 0, 1, 2, 3, 4
	rearfoot, midfoot, forefoot                                   = 0, 1, 2
	onRoad, onTrail, onTrack, onMixed                             = 0, 1, 2, 3
	forRunning, forWalking, forWork                               = 0, 1, 2

	gaits, strikes = 5, 3
)

// The categories, by place in retail.Categories.
const (
	daily = iota
	longRun
	tempo
	race
	support
	trail
	track
	walking
	categories
)

// assortment is the order in which names take their categories.
var assortment = [...]int{
	daily, support, daily, trail, longRun, daily, tempo, walking, daily, support,
	longRun, trail, daily, race, daily, longRun, support, tempo, daily, track,
}

// law is how shoes of one model wear: the truth behind its readings.
type law struct {
	category int
	// wear is the outsole's loss in µm per 100 km, for the typical runner on
	// road, by gait and strike; 0 where the zone has no rubber.
	wear [gaits][strikes][assess.NumZones]int32
	// cut is the loss in µm from which a zone has grade 1, 2, 3 and 4.
	cut [assess.NumZones][4]int32
	// tread is the depth of the pattern in µm.
	tread [assess.NumZones]int32
	// life is the Weibull scale, in km, of what fails by fatigue.
	life [fates]int32
	// tilt is the median growth of counter tilt, hundredths of a degree per 100 km.
	tilt int32
	// asNewTilt is the counter's tilt out of the box, hundredths of a degree.
	asNewTilt int32
	// flex and torsion are the bands out of the box.
	flex, torsion int
	rigid         bool
	batches       []batch
	onSale        [2]int // first day on sale and the first day after it
	popularity    int
}

// batch is one production run of a model.
type batch struct {
	code string
	from int // the day on which the stores begin to sell it
	// badGlue is the chance that a pair of it has a bond that fails early.
	badGlue share
}

// fate is one of the ways in which a shoe fails that is no wear of rubber.
type fate int

const (
	pressFore fate = iota
	pressHeel
	lining
	squeeze
	bond
	rubber
	mesh
	flexBand
	torsionBand
	// shoeFates of them happen to a shoe, the rest between the shoes of a pair.
	shoeFates
)

const (
	flexSide fate = shoeFates + iota
	torsionSide
	fates
)

// typicalLife is the Weibull scale of each fate in km; all are house
// assumptions, set so that most pairs end between 300 and 1,000 km, the range
// that the literature repeats (Escamilla-Martínez et al. 2020).
var typicalLife = [fates]int32{
	pressFore: 1350, pressHeel: 1700, lining: 1900, squeeze: 3000, bond: 3800, rubber: 4000, mesh: 1100,
	flexBand: 1700, torsionBand: 2000, flexSide: 4200, torsionSide: 4800,
}

// typicalWear is the loss of a rearfoot striker with neutral gait in µm per
// 100 km. No published rates were found: the lateral heel (0.3–1.2 mm), the
// medial heel (0.05–0.5), the forefoot (0.1–0.7) and the toe tip (0.05–0.6) are
// derived from 3–5.5 mm gone in 400–900 km; the rest is interpolated.
var typicalWear = [assess.NumZones]int32{
	assess.HeelMedial: 200, assess.HeelCentre: 360, assess.HeelLateral: 560,
	assess.MidMedial: 60, assess.MidLateral: 90,
	assess.ForeMedial: 280, assess.ForeCentre: 300, assess.ForeLateral: 240,
	assess.ToeMedial: 200, assess.ToeLateral: 120,
}

// strikeWear changes it in percent for the part by foot strike: a forefoot
// striker wears the heel by walking. House assumption.
var strikeWear = [strikes][assess.NumParts]int32{
	rearfoot: {100, 100, 100, 100},
	midfoot:  {60, 130, 120, 105},
	forefoot: {35, 110, 145, 130},
}

// gaitWear changes it in percent by gait: the outer heel is ordinary first
// contact under every gait, the forefoot wears toward the side that the foot
// rolls to. House assumption.
var gaitWear = [gaits][assess.NumZones]int32{
	highlySupinated: {70, 90, 126, 70, 140, 72, 90, 142, 75, 122},
	supinated:       {85, 95, 112, 85, 120, 88, 96, 118, 90, 108},
	neutral:         {100, 100, 100, 100, 100, 100, 100, 100, 100, 100},
	pronated:        {118, 104, 94, 125, 85, 114, 103, 90, 112, 92},
	highlyPronated:  {140, 106, 88, 140, 75, 138, 106, 78, 128, 82},
}

// surfaceWear and useWear change the loss in percent. Rough ground 1.3 is the
// simulator assumption of 1.0–2.0; the rest are house assumptions.
var (
	surfaceWear = [...]int32{onRoad: 100, onTrail: 130, onTrack: 85, onMixed: 115}
	useWear     = [...]int32{forRunning: 100, forWalking: 80, forWork: 110}
)

// The outsole out of the box in µm. Heel rubber of 4.5 mm lies in the 4.3–6.9
// of Cappaert, Ocif & Rich and the thinner soles of light shoes; tread of
// 2–4 mm is common practice, no source; the rest is interpolated.
var (
	typicalRubber = [assess.NumParts]int32{4500, 3400, 4000, 3600}
	typicalTread  = [assess.NumParts]int32{3000, 2000, 2600, 2400}
)

// The least pattern, and the least rubber under it, in µm. House assumptions.
const leastTread, leastUnder = 1800, 900

// A grade by the loss: of the pattern, q = depth / new over 0.85 is fresh and
// over 0.1 scuffed (the rule for depths of the reading); of the rubber under
// it, "thin" begins where near half of it is gone.
const (
	scuffedAt = 150 // ‰ of the pattern
	smoothAt  = 900 // ‰ of the pattern
	thinAt    = 450 // ‰ of the rubber under the pattern
)

// batchDays is how long a production run is sold at most.
const batchDays = 150

// buildCatalogue makes the models with their masks and laws. It doesn't depend
// on the seed.
func (f *Fleet) buildCatalogue(n int) {
	names := min(len(modelHeads)*len(modelTails), (n*7+9)/10)
	for i := range names {
		versions := n / names
		if i < n%names {
			versions++
		}
		for v := range versions {
			f.addModel(i, v, versions)
		}
	}
	f.buildDemand()
}

// addModel adds one version of the i-th name.
func (f *Fleet) addModel(i, version, versions int) {
	d := roll(derive(f.house, keyModel, uint64(i*versionsPerName+version)))
	l := law{category: assortment[i%len(assortment)], popularity: 2 + d.below(4), rigid: true}
	if i == plantedModel || i == plantedBatch {
		l.popularity = plantedPopularity
	}
	m := retail.ShoeModel{
		Brand: brands[i%len(brands)], Model: modelName(i), Version: fmt.Sprint(version + 1),
		Category: retail.Categories[l.category],
	}
	f.onSale(&l, &d, version, versions)
	released := l.onSale[0] - 10 - d.below(20)
	if version == 0 {
		released -= 250 + d.below(400)
	}
	m.Released = f.date(released)
	if version < versions-1 {
		m.Retired = f.date(l.onSale[1])
	}
	m.ID = uuidAt(f.start.AddDate(0, 0, released-f.burn), d.next(), d.next())
	for k := range gtinsPerModel {
		m.GTINs = append(m.GTINs, gtin(len(f.Models)*gtinsPerModel+k))
	}
	buildShoe(&l, &m, &d, f.tables)
	if i == plantedModel && f.plant {
		for _, gait := range [...]int{pronated, highlyPronated} {
			for s := range strikes {
				w := &l.wear[gait][s][assess.ForeMedial]
				*w = *w * plantedForeMedialPct / 100
			}
		}
	}
	f.addBatches(&l, &d, i)
	f.Models = append(f.Models, m)
	f.laws = append(f.laws, l)
}

// onSale says when a version is sold: versions follow each other over the
// whole calendar.
func (f *Fleet) onSale(l *law, d *dice, version, versions int) {
	jitter := d.below(60) - 30
	l.onSale = [2]int{0, f.days}
	if version > 0 {
		l.onSale[0] = version*f.days/versions + jitter
	}
	if version < versions-1 {
		// The old version sells out while the new one arrives.
		l.onSale[1] = min(f.days, (version+1)*f.days/versions+60+jitter)
	}
}

// addBatches plans the production runs.
func (f *Fleet) addBatches(l *law, d *dice, i int) {
	factory := 'A' + rune(d.below(6))
	for day := l.onSale[0] - d.below(batchDays); day < l.onSale[1]; {
		made := f.start.AddDate(0, 0, day-f.burn-45)
		b := batch{code: fmt.Sprintf("%c%s", factory, made.Format("0601")), from: day}
		next := day + batchDays - d.below(batchDays/3)
		// The planted batch is the run that is sold at two fifths of the window.
		if at := f.burn + (f.days-f.burn)*2/5; i == plantedBatch && day <= at && at < next {
			f.planted.Batch = b.code
			if f.plant {
				b.badGlue = pct(plantedGluePct)
			}
		}
		l.batches = append(l.batches, b)
		day = next
	}
	switch i {
	case plantedModel:
		f.planted.Model = len(f.Models)
	case plantedBatch:
		f.planted.BatchModel = len(f.Models)
	}
}

// buildShoe draws what the model is like new and how it wears.
func buildShoe(l *law, m *retail.ShoeModel, d *dice, t *tables) {
	a := &m.AsNew
	vary := func(v, spread int32) int32 { return v + scale(v*spread/100, t.normal[d.q()]) }

	tough := vary(100, 10) // how fast all rubber of this model goes, percent
	var rubberUM, tread [assess.NumParts]int32
	for p := range assess.NumParts {
		rubberUM[p], tread[p] = vary(typicalRubber[p], 8), max(vary(typicalTread[p], 8), leastTread)
		rubberUM[p] = max(rubberUM[p], tread[p]+leastUnder)
	}
	if d.chance(pct(60)) {
		a.Built = a.Built.With(assess.MidMedial).With(assess.MidLateral)
	}
	switch l.category {
	case trail:
		a.Trail = true
		for p := range tread {
			tread[p] += 1000
			rubberUM[p] += 1000
		}
	case race:
		a.Plate = true
		tough += 25
	case daily, longRun:
		if d.chance(pct(12)) {
			a.Built = a.Built.With(assess.HeelCentre)
		}
	}
	for p := range assess.NumParts {
		first, n := p.Zones()
		for z := first; z < first+assess.Col(n); z++ {
			l.tread[z] = tread[p]
			under := rubberUM[p] - tread[p]
			l.cut[z] = [4]int32{
				tread[p] * scuffedAt / 1000, tread[p] * smoothAt / 1000, tread[p] + under*thinAt/1000, rubberUM[p],
			}
			own := vary(100, 5)
			if a.Built.Has(z) {
				continue
			}
			for g := range gaits {
				for s := range strikes {
					w := typicalWear[z] * gaitWear[g][z] / 100 * strikeWear[s][p] / 100
					l.wear[g][s][z] = w * own / 100 * tough / 100
				}
			}
		}
		if first, _ := p.Zones(); !a.Built.Has(first) {
			a.Depth[p] = assess.Of(int(tread[p] / 100))
		}
	}
	for k := range l.life {
		l.life[k] = vary(typicalLife[k], 10)
	}
	l.tilt = vary(13, 15)

	l.flex, l.torsion = assess.Moderate, assess.Moderate
	switch l.category {
	case race, tempo:
		l.flex, l.torsion = assess.Stiff, assess.Stiff
	case support, trail:
		l.torsion = assess.Stiff
	case track:
		l.flex, l.torsion = assess.Stiff, assess.Moderate
		l.rigid = false
	case walking:
		l.flex = assess.Moderate
	}
	a.NoRigidCounter = !l.rigid
	a.Flex, a.Torsion = assess.Of(l.flex), assess.Of(l.torsion)
	if d.chance(pct(70)) {
		l.asNewTilt = int32(d.below(7)-2) * 10
		a.Tilt = assess.Of(int(l.asNewTilt))
		a.Lean = assess.Of(300 + d.below(90)*10)
	}
	a.Shore = assess.Of(550 + d.below(150)) // 55–70 Shore A: common practice, no source
	a.Asker = assess.Of(400 + d.below(150)) // 40–55 Asker C: common practice, no source

	m.Features = features(l, a, d)
}

// features describes the model as a fitting does.
func features(l *law, a *assess.AsNew, d *dice) retail.Features {
	f := retail.Features{
		Cushioning: "medium", MedialSupport: "none",
		StackMM: 28 + d.below(10), DropMM: 4 + 2*d.below(4), Widths: "standard",
		Flexibility: assess.Columns[assess.Flex].Words[a.Flex.Int()],
	}
	switch l.category {
	case longRun:
		f.Cushioning = "high"
	case race, track:
		f.Cushioning = "low"
	case support:
		f.MedialSupport = [...]string{"some", "firm"}[d.below(2)]
	}
	if d.chance(pct(30)) {
		f.Widths = "standard wide"
	}
	return f
}

// buyer is what a runner looks for at the shelf.
type buyer int

const (
	roadBuyer buyer = iota
	supportBuyer
	trailBuyer
	trackBuyer
	walkBuyer
	buyers
)

// taste weighs the categories for each buyer. House assumption.
var taste = [buyers][categories]int{
	roadBuyer:    {daily: 50, longRun: 22, tempo: 15, race: 8, support: 4, trail: 4, track: 1, walking: 1},
	supportBuyer: {daily: 36, longRun: 14, tempo: 5, race: 2, support: 40, trail: 3, walking: 2},
	trailBuyer:   {daily: 14, longRun: 4, trail: 82},
	trackBuyer:   {daily: 20, tempo: 20, race: 15, track: 45},
	walkBuyer:    {daily: 25, support: 10, walking: 65},
}

// demandDays is the grain of the demand table.
const demandDays = 30

// buildDemand sums, for each 30 days of the calendar and each buyer, the weights
// of the models that are on sale all the time.
func (f *Fleet) buildDemand() {
	slots := f.days/demandDays + 1
	f.demand = make([][]int, slots*int(buyers))
	for slot := range slots {
		for b := range buyers {
			sums := make([]int, len(f.laws))
			total := 0
			for i := range f.laws {
				l := &f.laws[i]
				from, to := slot*demandDays, min((slot+1)*demandDays, f.days)
				if l.onSale[0] <= from && to <= l.onSale[1] {
					total += taste[b][l.category] * l.popularity
				}
				sums[i] = total
			}
			f.demand[slot*int(buyers)+int(b)] = sums
		}
	}
}

// choose draws the model that a buyer takes on a day.
func (f *Fleet) choose(d *dice, b buyer, day int) int {
	sums := f.demand[day/demandDays*int(buyers)+int(b)]
	i, _ := slices.BinarySearch(sums, d.below(sums[len(sums)-1])+1)
	return i
}

// stockDays is how long a pair lies in a store at most.
const stockDays = 40

// batchAt draws the batch of a pair of the model that is bought on a day.
func (l *law) batchAt(d *dice, day int) int {
	day -= d.below(stockDays)
	i := len(l.batches) - 1
	for i > 0 && l.batches[i].from > day {
		i--
	}
	return i
}

// gtinsPerModel is how many trade items, by size, each model has.
const gtinsPerModel = 4

// gtin returns the n-th GTIN-13 with prefix 2: numbers for use within one
// company (GS1 General Specifications, restricted circulation).
func gtin(n int) string {
	digits := fmt.Sprintf("2%011d", n+1)
	return digits + string(gtinCheck(digits))
}

// gtinCheck returns the check digit of a GTIN without it: weights 3 and 1 from
// the right, what is missing to a multiple of ten (GS1 General Specifications).
func gtinCheck(digits string) byte {
	sum, weight := 0, 3
	for _, c := range slices.Backward([]byte(digits)) {
		sum += int(c-'0') * weight
		weight = 4 - weight
	}
	return '0' + byte((10-sum%10)%10)
}

// uuidAt makes a UUIDv7 of an instant and drawn bits.
func uuidAt(at time.Time, hi, lo uint64) assess.UUID {
	var random [10]byte
	binary.BigEndian.PutUint16(random[:], uint16(hi))
	binary.BigEndian.PutUint64(random[2:], lo)
	return assess.NewV7(at.UnixMilli(), random)
}
