package models

import (
	"fmt"
	"strings"
	"time"

	"solewright/assess"
)

// ShoeChecks are the columns of a shoe that lie in its string of checks, one
// character each. The order is that of the stored strings: append only.
var ShoeChecks = []assess.Col{
	assess.PressHeel, assess.PressHeelAt, assess.PressFore, assess.PressForeAt, assess.Stand,
	assess.TiltBy, assess.Lining, assess.Squeeze, assess.Bond, assess.Mesh, assess.Creases,
	assess.Rubber, assess.Insert, assess.Flex, assess.Torsion,
}

// PairChecks are the columns of the pair that lie in its string of checks. The
// order is that of the stored strings: append only.
var PairChecks = []assess.Col{
	assess.Setup, assess.FlexSide, assess.FlexAgain, assess.TorsionSide, assess.TorsionAgain,
	assess.SecondSays, assess.Hygiene, assess.PainMentioned,
}

// zoneCols are the columns of a shoe's string of zones.
var zoneCols = func() []assess.Col {
	cols := make([]assess.Col, assess.NumZones)
	for i := range cols {
		cols[i] = assess.HeelMedial + assess.Col(i)
	}
	return cols
}()

// tiltCols are the measures of a shoe that have columns of their own.
var tiltCols = []assess.Col{assess.Tilt, assess.TiltU, assess.TiltN}

// rareShoe and rarePair are what remains, kept in inspection_value.
var (
	rareShoe = remaining(0, assess.NumShoe, zoneCols, ShoeChecks, tiltCols)
	rarePair = remaining(assess.NumShoe, assess.NumCols, PairChecks)
)

func remaining(from, to assess.Col, taken ...[]assess.Col) []assess.Col {
	var s assess.ColSet
	for _, cols := range taken {
		for _, c := range cols {
			s = s.With(c)
		}
	}
	var rest []assess.Col
	for c := from; c < to; c++ {
		if !s.Has(c) {
			rest = append(rest, c)
		}
	}
	return rest
}

// colByName finds a column by its name without prefix.
var colByName = func() map[string]assess.Col {
	m := make(map[string]assess.Col, assess.NumCols)
	for c := range assess.NumCols {
		m[c.String()] = c
	}
	return m
}()

// cantLetters are the characters for can't read, by value.
var cantLetters = map[assess.Value]byte{
	assess.CantWet: 'w', assess.CantDirty: 'd', assess.CantRepaired: 'r', assess.CantOther: 'o',
}

// cantValues is cantLetters the other way round; other characters are unread.
var cantValues = func() (values [256]assess.Value) {
	for v, c := range cantLetters {
		values[c] = v
	}
	return values
}()

// letter writes a value of a column with at most ten steps as one character.
func letter(c assess.Col, v assess.Value) (byte, error) {
	switch n := v.Int() - assess.Columns[c].Min; {
	case v == assess.Unread:
		return '-', nil
	case v.OK() && n >= 0 && n <= 9:
		return '0' + byte(n), nil
	case v.Cant() && cantLetters[v] != 0:
		return cantLetters[v], nil
	}
	return 0, refused(c.String(), fmt.Sprint(int32(v)), "a step of its scale")
}

// value reads what letter wrote.
func value(c assess.Col, b byte) (assess.Value, error) {
	switch v := cantValues[b]; {
	case b == '-':
		return assess.Unread, nil
	case b >= '0' && b <= '9':
		return assess.Of(int(b-'0') + assess.Columns[c].Min), nil
	case v.Cant():
		return v, nil
	}
	return 0, fmt.Errorf("the database holds %q for %s", b, c)
}

// packed writes columns as one string, a character each.
func packed(cols []assess.Col, get func(assess.Col) assess.Value) (string, error) {
	var buf [assess.NumCols]byte
	for i, c := range cols {
		b, err := letter(c, get(c))
		if err != nil {
			return "", err
		}
		buf[i] = b
	}
	return string(buf[:len(cols)]), nil
}

// unpacked reads what packed wrote. A string from before a column was appended
// is shorter; what is past its end is unread.
func unpacked(cols []assess.Col, s string, set func(assess.Col, assess.Value)) error {
	for i := range min(len(s), len(cols)) {
		v, err := value(cols[i], s[i])
		if err != nil {
			return err
		}
		set(cols[i], v)
	}
	return nil
}

// inspectionRow is one row of inspection.
type inspectionRow struct {
	ID            id      `gorm:"column:id;primaryKey"`
	At            instant `gorm:"column:at"`
	ReceivedAt    instant `gorm:"column:received_at"`
	ModelID       id      `gorm:"column:model_id"`
	ClockOffsetMS number  `gorm:"column:clock_offset_ms"`
	Distance      number  `gorm:"column:distance"`
	KM            number  `gorm:"column:km"`
	AgeDays       number  `gorm:"column:age_days"`
	Flags         int64   `gorm:"column:flags"`
	AsNew         int     `gorm:"column:as_new"`
	Rules         int     `gorm:"column:rules"`
	Kind          int     `gorm:"column:kind"`
	SizeMM        number  `gorm:"column:size_mm"`
	Gait          number  `gorm:"column:gait"`
	GaitBy        number  `gorm:"column:gait_by"`
	GaitBefore    number  `gorm:"column:gait_before"`
	LPosture      number  `gorm:"column:l_posture"`
	RPosture      number  `gorm:"column:r_posture"`
	Strike        number  `gorm:"column:strike"`
	UsedFor       number  `gorm:"column:used_for"`
	KMUnit        number  `gorm:"column:km_unit"`
	KMSource      number  `gorm:"column:km_source"`
	Surface       number  `gorm:"column:surface"`
	LTilt         number  `gorm:"column:l_tilt"`
	LTiltU        number  `gorm:"column:l_tilt_u"`
	LTiltN        number  `gorm:"column:l_tilt_n"`
	RTilt         number  `gorm:"column:r_tilt"`
	RTiltU        number  `gorm:"column:r_tilt_u"`
	RTiltN        number  `gorm:"column:r_tilt_n"`
	AdvisedSent   code    `gorm:"column:advised_sent"`
	Given         code    `gorm:"column:given"`
	Advised       code    `gorm:"column:advised"`
	How           code    `gorm:"column:how"`
	Grade         code    `gorm:"column:grade"`
	Route         code    `gorm:"column:route"`
	Heel          code    `gorm:"column:heel"`
	Fore          code    `gorm:"column:fore"`
	Side          code    `gorm:"column:side"`
	DecidedBy     number  `gorm:"column:decided_by"`
	LHeel         code    `gorm:"column:l_heel"`
	LFore         code    `gorm:"column:l_fore"`
	LMLHeel       number  `gorm:"column:l_ml_heel"`
	LMLFore       number  `gorm:"column:l_ml_fore"`
	LCentreHeel   number  `gorm:"column:l_centre_heel"`
	LCentreFore   number  `gorm:"column:l_centre_fore"`
	LForeAft      number  `gorm:"column:l_fore_aft"`
	RHeel         code    `gorm:"column:r_heel"`
	RFore         code    `gorm:"column:r_fore"`
	RMLHeel       number  `gorm:"column:r_ml_heel"`
	RMLFore       number  `gorm:"column:r_ml_fore"`
	RCentreHeel   number  `gorm:"column:r_centre_heel"`
	RCentreFore   number  `gorm:"column:r_centre_fore"`
	RForeAft      number  `gorm:"column:r_fore_aft"`
	HasValues     flag    `gorm:"column:has_values"`
	Erased        flag    `gorm:"column:erased"`
	Store         string  `gorm:"column:store;primaryKey"`
	PairRef       text    `gorm:"column:pair_ref"`
	Staff         string  `gorm:"column:staff"`
	Device        text    `gorm:"column:device"`
	Day           string  `gorm:"column:day"`
	Month         string  `gorm:"column:month"`
	Brand         text    `gorm:"column:brand"`
	Model         text    `gorm:"column:model"`
	Version       text    `gorm:"column:version"`
	SizeLabel     text    `gorm:"column:size_label"`
	Runner        text    `gorm:"column:runner"`
	BoughtOn      text    `gorm:"column:bought_on"`
	Batch         text    `gorm:"column:batch"`
	LZones        string  `gorm:"column:l_zones"`
	RZones        string  `gorm:"column:r_zones"`
	LChecks       string  `gorm:"column:l_checks"`
	RChecks       string  `gorm:"column:r_checks"`
	PairChecks    string  `gorm:"column:pair_checks"`
	Codes         text    `gorm:"column:codes"`
	Engine        text    `gorm:"column:engine"`
	SecondReader  text    `gorm:"column:second_reader"`
	SecondOn      text    `gorm:"column:second_on"`
	GivenReason   text    `gorm:"column:given_reason"`
	Note          text    `gorm:"column:note"`
	Supersedes    id      `gorm:"column:supersedes"`
	SupersededBy  id      `gorm:"column:superseded_by"`
	VoidedAt      instant `gorm:"column:voided_at"`
	VoidReason    text    `gorm:"column:void_reason"`
	AmendReason   text    `gorm:"column:amend_reason"`
	BodySHA       hash    `gorm:"column:body_sha"`
}

var inspectionLayout = layoutOf("inspection", inspectionRow{})

// valueRow is one row of inspection_value.
type valueRow struct {
	Store string `gorm:"column:store;primaryKey"`
	ID    id     `gorm:"column:id;primaryKey"`
	Foot  int    `gorm:"column:foot;primaryKey"`
	Name  string `gorm:"column:name;primaryKey"`
	Value number `gorm:"column:value"`
	Cant  text   `gorm:"column:cant"`
}

var valueLayout = layoutOf("inspection_value", valueRow{})

// newRow lays a reading out as a row and its rare values. What depends on the
// database (model, pair, day) is left to the caller.
func newRow(in *NewInspection) (*inspectionRow, []valueRow, error) {
	r, f := &in.Record, &in.Facts
	row := &inspectionRow{
		ID: id(r.ID), Store: r.Store, At: instant(r.At), ReceivedAt: instant(r.ReceivedAt),
		Distance: number(r.Distance), KM: number(r.KM), AgeDays: number(r.AgeDays),
		Flags: int64(r.Flags | f.Flags), AsNew: in.AsNew, Rules: r.Rules, Kind: int(r.Kind),
		SizeMM: number(r.SizeMM), Gait: number(r.Gait), GaitBy: number(r.GaitBy), GaitBefore: number(r.GaitBefore),
		LPosture: number(r.Posture[assess.Left]), RPosture: number(r.Posture[assess.Right]),
		Strike: number(r.Strike), UsedFor: number(r.UsedFor),
		KMUnit: number(r.KMUnit), KMSource: number(r.KMSource), Surface: number(r.Surface),
		AdvisedSent: code(r.Advised), Given: code(r.Given),
		Advised: code(f.Verdict), How: code(f.How), Grade: code(f.Grade), Route: code(f.Route),
		PairRef: text(r.PairRef), Staff: r.Staff, Device: text(r.Device),
		Brand: text(r.Brand), Model: text(r.Model), Version: text(r.Version), SizeLabel: text(r.SizeLabel),
		Runner: text(r.Runner), BoughtOn: text(r.BoughtOn), Batch: text(r.Batch),
		Codes: text(strings.Join(f.Codes, " ")), Engine: text(f.Engine),
		SecondReader: text(r.SecondReader), SecondOn: text(colNames(r.SecondOn)),
		GivenReason: text(r.GivenReason), Note: text(r.Note), Supersedes: id(r.Supersedes),
		VoidedAt: instant(r.VoidedAt), VoidReason: text(r.VoidReason), AmendReason: text(r.AmendReason), BodySHA: hash(in.SHA),
	}
	if in.ClockOffset != 0 {
		most := maxStoredOffset / time.Millisecond
		row.ClockOffsetMS = number(assess.Of(int(min(max(in.ClockOffset/time.Millisecond, -most), most))))
	}
	row.setPattern(&f.Pattern)
	vals, err := row.setReading(&r.Reading)
	if err != nil {
		return nil, nil, err
	}
	row.HasValues = len(vals) > 0
	return row, vals, nil
}

// indexScale is in what steps an index of wear is stored: ten-thousandths.
const indexScale = 10_000

// index stores a fraction in ten-thousandths, halves away from zero; an absent
// one is NULL.
func index(r assess.Ratio) number {
	if r.Den == 0 {
		return number(assess.Unread)
	}
	num, den := 2*indexScale*int64(r.Num), int64(r.Den)
	if den < 0 {
		num, den = -num, -den
	}
	if num < 0 {
		return number(assess.Of(int((num - den) / (2 * den))))
	}
	return number(assess.Of(int((num + den) / (2 * den))))
}

// ratio reads what index wrote.
func ratio(n number) assess.Ratio {
	if v := assess.Value(n); v.OK() {
		return assess.Ratio{Num: int32(v.Int()), Den: indexScale}
	}
	return assess.Ratio{}
}

func (row *inspectionRow) setPattern(p *assess.PairPattern) {
	row.Heel, row.Fore, row.Side = code(p.Heel), code(p.Fore), code(p.Side)
	if p.Heel|p.Fore != assess.NoPattern || p.Side != assess.NoSide || p.DecidedBy != assess.Left {
		row.DecidedBy = number(assess.Of(int(p.DecidedBy)))
	}
	l, r := &p.Shoe[assess.Left], &p.Shoe[assess.Right]
	row.LHeel, row.LFore = code(l.Heel), code(l.Fore)
	row.LMLHeel, row.LMLFore = index(l.MLHeel), index(l.MLFore)
	row.LCentreHeel, row.LCentreFore, row.LForeAft = index(l.CentreHeel), index(l.CentreFore), index(l.ForeAft)
	row.RHeel, row.RFore = code(r.Heel), code(r.Fore)
	row.RMLHeel, row.RMLFore = index(r.MLHeel), index(r.MLFore)
	row.RCentreHeel, row.RCentreFore, row.RForeAft = index(r.CentreHeel), index(r.CentreFore), index(r.ForeAft)
}

func (row *inspectionRow) pattern() assess.PairPattern {
	return assess.PairPattern{
		Heel: assess.Pattern(row.Heel), Fore: assess.Pattern(row.Fore),
		Side: assess.MoreWorn(row.Side), DecidedBy: assess.Foot(assess.Value(row.DecidedBy).Int()),
		Shoe: [2]assess.ShoePattern{
			{
				Heel: assess.Pattern(row.LHeel), Fore: assess.Pattern(row.LFore),
				MLHeel: ratio(row.LMLHeel), MLFore: ratio(row.LMLFore),
				CentreHeel: ratio(row.LCentreHeel), CentreFore: ratio(row.LCentreFore), ForeAft: ratio(row.LForeAft),
			},
			{
				Heel: assess.Pattern(row.RHeel), Fore: assess.Pattern(row.RFore),
				MLHeel: ratio(row.RMLHeel), MLFore: ratio(row.RMLFore),
				CentreHeel: ratio(row.RCentreHeel), CentreFore: ratio(row.RCentreFore), ForeAft: ratio(row.RForeAft),
			},
		},
	}
}

// setReading lays out what was read, and returns what has no place in the row.
func (row *inspectionRow) setReading(r *assess.Reading) ([]valueRow, error) {
	for f, s := range []struct{ zones, checks *string }{{&row.LZones, &row.LChecks}, {&row.RZones, &row.RChecks}} {
		get := func(c assess.Col) assess.Value { return r.Shoe[f][c] }
		var err error
		if *s.zones, err = packed(zoneCols, get); err != nil {
			return nil, err
		}
		if *s.checks, err = packed(ShoeChecks, get); err != nil {
			return nil, err
		}
	}
	var err error
	if row.PairChecks, err = packed(PairChecks, r.Pair); err != nil {
		return nil, err
	}
	var vals []valueRow
	keep := func(f assess.Foot, c assess.Col) error {
		v := r.Get(f, c)
		if v == assess.Unread {
			return nil
		}
		w := valueRow{Store: row.Store, ID: row.ID, Foot: int(f), Name: c.String()}
		switch {
		case v.OK():
			w.Value = number(v)
		case cantLetters[v] != 0:
			w.Cant = text(cantLetters[v])
		default:
			return refused(c.String(), fmt.Sprint(int32(v)), "a number or a reason why it can't be read")
		}
		vals = append(vals, w)
		return nil
	}
	for f := assess.Left; f <= assess.Right; f++ {
		for i, p := range row.tilts(f) {
			if v := r.Shoe[f][tiltCols[i]]; v.OK() {
				*p = number(v)
			} else if err := keep(f, tiltCols[i]); err != nil {
				return nil, err
			}
		}
		for _, c := range rareShoe {
			if err := keep(f, c); err != nil {
				return nil, err
			}
		}
	}
	for _, c := range rarePair {
		if err := keep(assess.Both, c); err != nil {
			return nil, err
		}
	}
	return vals, nil
}

// tilts returns the fields of tiltCols.
func (row *inspectionRow) tilts(f assess.Foot) []*number {
	if f == assess.Left {
		return []*number{&row.LTilt, &row.LTiltU, &row.LTiltN}
	}
	return []*number{&row.RTilt, &row.RTiltU, &row.RTiltN}
}

// reading fills r with what lies in the row but for the rare values.
func (row *inspectionRow) reading(r *assess.Reading) error {
	for f, s := range []struct{ zones, checks string }{{row.LZones, row.LChecks}, {row.RZones, row.RChecks}} {
		set := func(c assess.Col, v assess.Value) { r.Shoe[f][c] = v }
		if err := unpacked(zoneCols, s.zones, set); err != nil {
			return err
		}
		if err := unpacked(ShoeChecks, s.checks, set); err != nil {
			return err
		}
		for i, p := range row.tilts(assess.Foot(f)) {
			r.Shoe[f][tiltCols[i]] = assess.Value(*p)
		}
	}
	r.KM, r.AgeDays, r.Surface = assess.Value(row.KM), assess.Value(row.AgeDays), assess.Value(row.Surface)
	r.HasSecond = row.SecondReader != ""
	var err error
	if r.SecondOn, err = colSet(string(row.SecondOn)); err != nil {
		return err
	}
	return unpacked(PairChecks, row.PairChecks, r.SetPair)
}

// addValue puts a rare value into the reading.
func addValue(r *assess.Reading, w *valueRow) error {
	c, ok := colByName[w.Name]
	if !ok || w.Foot < int(assess.Left) || w.Foot > int(assess.Both) || (c >= assess.NumShoe) != (w.Foot == int(assess.Both)) {
		return fmt.Errorf("the database holds a value %q of shoe %d, which this program doesn't know", w.Name, w.Foot)
	}
	v := assess.Value(w.Value)
	if w.Cant != "" {
		v = cantValues[w.Cant[0]]
	}
	r.Set(assess.Foot(w.Foot), c, v)
	return nil
}

// inspection returns the row as a value, without its rare values.
func (row *inspectionRow) inspection(contradicts Contradiction) (*Inspection, error) {
	in := &Inspection{
		Facts: Facts{
			Verdict: assess.Verdict(row.Advised), How: assess.How(row.How), Codes: strings.Fields(string(row.Codes)),
			Pattern: row.pattern(), Grade: assess.GradeLetter(row.Grade), Route: assess.Route(row.Route),
			Engine: string(row.Engine), Flags: assess.Flags(row.Flags),
		},
		ModelID: assess.UUID(row.ModelID), AsNew: row.AsNew, Day: row.Day, Month: row.Month,
		SupersededBy: assess.UUID(row.SupersededBy), Erased: bool(row.Erased),
		ClockOffset: time.Duration(assess.Value(row.ClockOffsetMS).Int()) * time.Millisecond,
	}
	return in, row.record(&in.Record, contradicts != NoContradiction)
}

// record fills r with what lies in the row; the rare values follow by addValue.
func (row *inspectionRow) record(r *assess.Record, contradicts bool) error {
	*r = assess.Record{
		ID: assess.UUID(row.ID), PairRef: string(row.PairRef), Store: row.Store, Staff: row.Staff,
		Device: string(row.Device), At: time.Time(row.At), Kind: assess.RecordKind(row.Kind),
		Brand: string(row.Brand), Model: string(row.Model), Version: string(row.Version),
		SizeLabel: string(row.SizeLabel), SizeMM: assess.Value(row.SizeMM),
		Runner: string(row.Runner), Gait: assess.Value(row.Gait), GaitBy: assess.Value(row.GaitBy),
		GaitBefore: assess.Value(row.GaitBefore),
		Posture:    [2]assess.Value{assess.Value(row.LPosture), assess.Value(row.RPosture)},
		Strike:     assess.Value(row.Strike), UsedFor: assess.Value(row.UsedFor),
		Distance: assess.Value(row.Distance), KMUnit: assess.Value(row.KMUnit), KMSource: assess.Value(row.KMSource),
		BoughtOn: string(row.BoughtOn), Batch: string(row.Batch),
		SecondReader: string(row.SecondReader), Advised: assess.Verdict(row.AdvisedSent),
		Given: assess.Verdict(row.Given), GivenReason: string(row.GivenReason), Rules: row.Rules,
		Flags: assess.Flags(row.Flags), Note: string(row.Note), Supersedes: assess.UUID(row.Supersedes),
		VoidedAt: time.Time(row.VoidedAt), VoidReason: string(row.VoidReason), AmendReason: string(row.AmendReason), ReceivedAt: time.Time(row.ReceivedAt),
	}
	if contradicts {
		r.Flags |= assess.FlagPairContradicts
	}
	return row.reading(&r.Reading)
}

// colNames writes a set of columns as their names, space between.
func colNames(s assess.ColSet) string {
	var names []string
	for c := range assess.NumCols {
		if s.Has(c) {
			names = append(names, c.String())
		}
	}
	return strings.Join(names, " ")
}

func colSet(names string) (assess.ColSet, error) {
	var s assess.ColSet
	for name := range strings.FieldsSeq(names) {
		c, ok := colByName[name]
		if !ok {
			return 0, fmt.Errorf("the database names a check %q, which this program doesn't know", name)
		}
		s = s.With(c)
	}
	return s, nil
}
