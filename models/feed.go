package models

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	stdhash "hash"
	"runtime"
	"slices"
	"strconv"
	"sync"

	"solewright/assess"
	"solewright/models/facts"
	"solewright/models/retail"
)

// Feed hands the fleet in memory what statistics see, and what changes. It reads
// where the last write is seen, never on a replica: facts from a replica that
// lags behind the feed of changes would be missed for good.
type Feed struct{ db *DB }

// Feed returns the feed of the database.
func (db *DB) Feed() Feed { return Feed{db} }

// pool is where the feed reads: the primary, on SQLite by its readers.
func (f Feed) pool() *pool {
	if f.db.dialect == sqliteDialect {
		return f.db.readers[0]
	}
	return f.db.primary
}

// Identity says which database it is.
func (f Feed) Identity(ctx context.Context) (facts.Identity, error) {
	var who facts.Identity
	var err error
	if who.ID, err = f.db.ID(ctx); err != nil {
		return who, err
	}
	err = f.pool().QueryRowContext(ctx, "SELECT value FROM meta WHERE key = 'epoch'").Scan(&who.Epoch)
	if errors.Is(err, sql.ErrNoRows) {
		err = nil
	}
	return who, wrap(err, "reading which database it is")
}

// Catalogue returns regions, stores and models by name.
func (f Feed) Catalogue(ctx context.Context) (*facts.Catalogue, error) {
	var (
		c      facts.Catalogue
		region retail.Region
		store  retail.Store
		model  struct {
			id                              id
			brand, model, version, category text
		}
	)
	for _, list := range []struct {
		query string
		into  []any
		add   func()
	}{
		{"SELECT code, name, currency FROM region ORDER BY code", []any{&region.Code, &region.Name, &region.Currency}, func() { c.Regions = append(c.Regions, region) }},
		{"SELECT code, name, region FROM store ORDER BY code", []any{&store.Code, &store.Name, &store.Region}, func() { c.Stores = append(c.Stores, store) }},
		{"SELECT id, brand, model, version, category FROM shoe_model ORDER BY id", []any{&model.id, &model.brand, &model.model, &model.version, &model.category}, func() {
			c.Models = append(c.Models, retail.ShoeModel{
				ID: assess.UUID(model.id), Brand: string(model.brand), Model: string(model.model),
				Version: string(model.version), Category: string(model.category),
			})
		}},
	} {
		if err := f.each(ctx, list.query, list.into, list.add); err != nil {
			return nil, wrap(err, "reading the catalogue")
		}
	}
	return &c, nil
}

func (f Feed) each(ctx context.Context, query string, into []any, row func()) error {
	rows, err := f.pool().QueryContext(ctx, query)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return err
		}
		row()
	}
	return rows.Err()
}

// readingFact is what a fact has of its reading.
type readingFact struct {
	ID         id     `gorm:"column:i.id"`
	Pair       string `gorm:"column:i.pair_ref"`
	Store      string `gorm:"column:i.store"`
	Staff      string `gorm:"column:i.staff"`
	Day        string `gorm:"column:i.day"`
	Kind       int    `gorm:"column:i.kind"`
	Gait       number `gorm:"column:i.gait"`
	LPosture   number `gorm:"column:i.l_posture"`
	RPosture   number `gorm:"column:i.r_posture"`
	Strike     number `gorm:"column:i.strike"`
	Surface    number `gorm:"column:i.surface"`
	UsedFor    number `gorm:"column:i.used_for"`
	KM         number `gorm:"column:i.km"`
	KMSource   number `gorm:"column:i.km_source"`
	GaitBefore number `gorm:"column:i.gait_before"`
	Heel       code   `gorm:"column:i.heel"`
	Fore       code   `gorm:"column:i.fore"`
	Side       code   `gorm:"column:i.side"`
	DecidedBy  number `gorm:"column:i.decided_by"`
	Advised    code   `gorm:"column:coalesce(i.advised, i.advised_sent)"`
	Codes      text   `gorm:"column:i.codes"`
	LTilt      number `gorm:"column:i.l_tilt"`
	RTilt      number `gorm:"column:i.r_tilt"`
	LZones     string `gorm:"column:i.l_zones"`
	RZones     string `gorm:"column:i.r_zones"`
	LChecks    string `gorm:"column:i.l_checks"`
	RChecks    string `gorm:"column:i.r_checks"`
	PairChecks string `gorm:"column:i.pair_checks"`
}

// pairFact is what the facts of a pair have in common.
type pairFact struct {
	Ref         string `gorm:"column:p.ref"`
	ModelID     id     `gorm:"column:p.model_id"`
	Batch       text   `gorm:"column:p.batch"`
	Runner      text   `gorm:"column:p.runner"`
	LowerKM     number `gorm:"column:p.lower_km"`
	UpperKM     number `gorm:"column:p.upper_km"`
	Contradicts int    `gorm:"column:p.contradicts"`
	LastStore   text   `gorm:"column:p.last_store"`
	LastID      id     `gorm:"column:p.last_id"`
}

var (
	readingFactColumns = layoutOf("inspection", readingFact{}).columns
	pairFactColumns    = layoutOf("pair", pairFact{}).columns
)

// ofFacts picks the readings i that are facts: live ones that are not blind.
const ofFacts = " WHERE i.voided_at IS NULL AND i.superseded_by IS NULL AND i.kind <> 3"

// runnerKeys makes the keys of runners that exports show.
type runnerKeys struct {
	stdhash.Hash
	sum []byte
}

func newRunnerKeys(secret string) *runnerKeys {
	return &runnerKeys{Hash: hmac.New(sha256.New, []byte(secret))}
}

// of returns the first eight bytes of a runner's key, 0 of nobody's.
func (k *runnerKeys) of(runner string) uint64 {
	if runner == "" {
		return 0
	}
	k.Reset()
	k.Write([]byte(runner))
	k.sum = k.Sum(k.sum[:0])
	return binary.BigEndian.Uint64(k.sum)
}

// fact fills f with what lies in the row; what it has of its pair is left to fill.
func (row *readingFact) fact(f *facts.Fact) {
	*f = facts.Fact{
		Pair: row.Pair, Store: row.Store, Staff: row.Staff, Day: row.Day, Kind: assess.RecordKind(row.Kind),
		Gait: assess.Value(row.Gait), Strike: assess.Value(row.Strike),
		Posture: decidingPosture(row.DecidedBy, row.LPosture, row.RPosture),
		Surface: assess.Value(row.Surface), UsedFor: assess.Value(row.UsedFor), KM: assess.Value(row.KM),
		KMSource: assess.Value(row.KMSource), GaitBefore: assess.Value(row.GaitBefore),
		Heel: assess.Pattern(row.Heel), Fore: assess.Pattern(row.Fore), Side: assess.MoreWorn(row.Side),
		Verdict: assess.Verdict(row.Advised), Codes: string(row.Codes),
		Tilt: [2]assess.Value{assess.Value(row.LTilt), assess.Value(row.RTilt)},
	}
	f.Unread[assess.Left] = withoutValue(ShoeChecks, row.LChecks)
	f.Unread[assess.Right] = withoutValue(ShoeChecks, row.RChecks)
	f.Unread[assess.Both] = withoutValue(PairChecks, row.PairChecks)
	for foot, tilt := range f.Tilt {
		if !tilt.OK() {
			f.Unread[foot] = f.Unread[foot].With(assess.Tilt)
		}
	}
	f.Grades = [2]facts.Grades{gradesOf(row.LZones), gradesOf(row.RZones)}
}

// decidingPosture returns the posture of the foot whose shoe decided the pattern;
// where neither did, the one that both feet have.
func decidingPosture(decidedBy, left, right number) assess.Value {
	switch d := assess.Value(decidedBy); {
	case d.Is(int(assess.Left)):
		return assess.Value(left)
	case d.Is(int(assess.Right)):
		return assess.Value(right)
	case left == right:
		return assess.Value(left)
	}
	return assess.Unread
}

// withoutValue returns which of the columns of a string of checks hold no value.
func withoutValue(cols []assess.Col, s string) (set assess.ColSet) {
	for i, c := range cols {
		if i >= len(s) || s[i] < '0' || s[i] > '9' {
			set = set.With(c)
		}
	}
	return set
}

// gradesOf packs a string of zones.
func gradesOf(s string) facts.Grades {
	grades := facts.AllUnread
	for zone := range min(len(s), assess.NumZones) {
		switch c := s[zone]; {
		case c >= '0' && c <= '4':
			grades = grades.With(zone, int(c-'0'))
		case c != '-':
			grades = grades.With(zone, facts.CantGrade)
		}
	}
	return grades
}

// EachFact reads every fact, in no particular order, in as many parts at once as
// there are processors, and returns the position in the feed of changes from which
// to follow: what is later may or may not be among the facts, or twice. begin
// returns, for each part, what is called with its facts; what that gets is the
// same variable every time.
//
// The pairs are read first and held here: references are drawn at random, so that
// a database which joins as many readings and pairs looks all over the place.
func (f Feed) EachFact(ctx context.Context, begin func() func(*facts.Fact) error) (facts.Position, error) {
	at, err := f.position(ctx)
	if err != nil {
		return at, wrap(err, "reading the facts")
	}
	pairs, err := f.heldPairs(ctx)
	if err != nil {
		return at, wrap(err, "reading the pairs of facts")
	}
	parts, err := f.db.parts(ctx, f.pool(), " AND ")
	if err != nil {
		return at, wrap(err, "reading the facts")
	}
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var group sync.WaitGroup
	for _, part := range parts {
		group.Go(func() {
			if err := f.db.stream(ctx, f.pool(), readingFactColumns, runtime.GOMAXPROCS(0), func() *rowsInto {
				var (
					row  readingFact
					fact facts.Fact
					each = begin()
				)
				return &rowsInto{fields(&row), func() error {
					row.fact(&fact)
					if ok, err := pairs.complete(&fact, row.ID); !ok || err != nil {
						return err // a pair that came after the others is followed
					}
					return each(&fact)
				}}
			}, " FROM inspection i"+ofFacts+part, nil); err != nil {
				cancel(err) // the first is told
			}
		})
	}
	group.Wait()
	return at, wrap(context.Cause(ctx), "reading the facts")
}

// position returns the last change that Changes would return.
func (f Feed) position(ctx context.Context) (facts.Position, error) {
	query := "SELECT 0, number FROM change ORDER BY number DESC LIMIT 1"
	if f.db.dialect == postgresDialect {
		query = `SELECT tx::text::bigint, number FROM change WHERE tx < pg_snapshot_xmin(pg_current_snapshot())
			ORDER BY tx DESC, number DESC LIMIT 1`
	}
	var at facts.Position
	err := f.pool().QueryRowContext(ctx, query).Scan(&at.Tx, &at.Number)
	if errors.Is(err, sql.ErrNoRows) {
		err = nil
	}
	return at, err
}

// FactsOf calls each with every fact of the pairs with these references.
func (f Feed) FactsOf(ctx context.Context, pairs []string, each func(*facts.Fact) error) error {
	secret, err := f.db.ID(ctx)
	if err != nil {
		return wrap(err, "reading the facts of pairs")
	}
	const chunk = 500 // parameters, far below the least bound of a statement
	for part := range slices.Chunk(pairs, chunk) {
		var w where
		w.in("i.pair_ref", part)
		if err := f.db.stream(ctx, f.pool(), slices.Concat(readingFactColumns, pairFactColumns), 1, func() *rowsInto {
			var (
				row  readingFact
				pair pairFact
				fact facts.Fact
				keys = newRunnerKeys(secret)
			)
			return &rowsInto{append(fields(&row), fields(&pair)...), func() error {
				row.fact(&fact)
				fact.Model, fact.Batch, fact.Runner = assess.UUID(pair.ModelID), string(pair.Batch), keys.of(string(pair.Runner))
				fact.Lower, fact.Upper, fact.Contradicts = assess.Value(pair.LowerKM), assess.Value(pair.UpperKM), pair.Contradicts != 0
				fact.Last = pair.LastID == row.ID && string(pair.LastStore) == row.Store
				return each(&fact)
			}}
		}, " FROM inspection i JOIN pair p ON p.ref = i.pair_ref"+ofFacts+" AND "+w.conditions[0], w.args); err != nil {
			return wrap(err, "reading the facts of pairs")
		}
	}
	return nil
}

// Anchor says what happened at a position, nothing where nothing did.
func (f Feed) Anchor(ctx context.Context, at facts.Position) (string, error) {
	query, args := "SELECT op, store, id, pair_ref FROM change WHERE number = ?", []any{at.Number}
	if f.db.dialect == postgresDialect {
		query += " AND tx = ?::text::xid8"
		args = append(args, strconv.FormatInt(at.Tx, 10))
	}
	var (
		op          int
		store, pair text
		reading     id
	)
	err := f.pool().QueryRowContext(ctx, f.db.dialect.sql(query), args...).Scan(&op, &store, &reading, &pair)
	if errors.Is(err, sql.ErrNoRows) {
		return "", nil
	}
	return fmt.Sprint(op, store, assess.UUID(reading), pair), wrap(err, "reading the change feed")
}

// Changed returns the pairs that up to limit changes after a position touched;
// see [DB.Changes].
func (f Feed) Changed(ctx context.Context, after facts.Position, limit int) (facts.Changed, error) {
	c := facts.Changed{To: after}
	if f.db.dialect == postgresDialect {
		// Before the changes are read: what is over by now is then among them.
		if err := f.pool().QueryRowContext(ctx, `SELECT pg_snapshot_xmin(s)::text::bigint, pg_snapshot_xmax(s)::text::bigint
			FROM pg_current_snapshot() s`).Scan(&c.Horizon, &c.Newest); err != nil {
			return c, wrap(err, "reading the change feed")
		}
	}
	changes, err := f.db.Changes(ctx, Position(after), limit)
	if err != nil {
		return c, err
	}
	c.More = len(changes) == limit
	seen := make(map[string]bool, len(changes))
	for i := range changes {
		if ref := changes[i].PairRef; ref != "" && !seen[ref] {
			seen[ref] = true
			c.Pairs = append(c.Pairs, ref)
		}
	}
	if n := len(changes); n > 0 {
		c.To = facts.Position(changes[n-1].Position)
	}
	return c, nil
}
