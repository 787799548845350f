package models

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"solewright/assess"
)

// Numbered is one version of a table that is numbered, dated and never changed:
// a rule set, a credit table, the posture bands, the risk by distance.
type Numbered struct {
	Number    int
	From      string // its first day, YYYY-MM-DD
	Body      string // JSON
	Note      string
	CreatedBy string
	CreatedAt time.Time
}

// numberedRow is one row of rule_set, credit_table, posture_band or
// risk_table.
type numberedRow struct {
	Number    int     `gorm:"column:number;primaryKey"`
	FromDay   string  `gorm:"column:from_day"`
	Body      string  `gorm:"column:body"`
	SHA       hash    `gorm:"column:sha"`
	Note      text    `gorm:"column:note"`
	CreatedBy text    `gorm:"column:created_by"`
	CreatedAt instant `gorm:"column:created_at"`
}

func (row *numberedRow) numbered() Numbered {
	return Numbered{
		Number: row.Number, From: row.FromDay, Body: row.Body, Note: string(row.Note),
		CreatedBy: string(row.CreatedBy), CreatedAt: time.Time(row.CreatedAt),
	}
}

// NumberedTables names the tables of this kind.
type NumberedTables string

// The numbered tables.
const (
	RuleSets     NumberedTables = "rule_set"
	CreditTables NumberedTables = "credit_table"
	PostureBands NumberedTables = "posture_band"
	RiskTables   NumberedTables = "risk_table"
)

func (n NumberedTables) layout() layout { return layoutOf(string(n), numberedRow{}) }

// Versions returns all versions of a numbered table, oldest first.
func (db *DB) Versions(ctx context.Context, table NumberedTables) ([]Numbered, error) {
	all, err := db.numbered(ctx, table, " ORDER BY number")
	return all, wrap(err, "reading %s", table)
}

// VersionOf returns one version of a numbered table.
func (db *DB) VersionOf(ctx context.Context, table NumberedTables, number int) (Numbered, error) {
	v, err := one(db.numbered(ctx, table, " WHERE number = ?", number))
	return v, wrap(err, "%s %d", table, number)
}

// VersionOn returns the version of a numbered table that holds on a day: of
// those that have begun, the one with the highest number.
func (db *DB) VersionOn(ctx context.Context, table NumberedTables, day string) (Numbered, error) {
	v, err := one(db.numbered(ctx, table, " WHERE from_day <= ? ORDER BY number DESC LIMIT 1", day))
	return v, wrap(err, "%s on %s", table, day)
}

// AddVersion adds a version that holds from a day, and returns its number. The
// body is JSON; what it means is for the caller to check.
func (db *DB) AddVersion(ctx context.Context, by Actor, table NumberedTables, from, body, note string) (int, error) {
	n, err := db.addVersion(ctx, by, table, from, note, func(int) (string, error) { return body, nil })
	return n, wrap(err, "adding a version of %s", table)
}

// addVersion adds a version whose body may hold its own number.
func (db *DB) addVersion(ctx context.Context, by Actor, table NumberedTables, from, note string, body func(number int) (string, error)) (int, error) {
	if _, err := time.Parse(time.DateOnly, from); err != nil {
		return 0, refused("from", from, "a day as YYYY-MM-DD")
	}
	row := numberedRow{FromDay: from, Note: text(note), CreatedBy: text(by.Account), CreatedAt: instant(db.now())}
	err := db.tx(ctx, func(t *txn) error {
		err := t.QueryRowContext(ctx, "SELECT coalesce(max(number), 0) + 1 FROM "+string(table)).Scan(&row.Number)
		if err != nil {
			return err
		}
		if row.Body, err = body(row.Number); err != nil {
			return err
		}
		row.SHA = sha256.Sum256([]byte(row.Body))
		if !json.Valid([]byte(row.Body)) {
			return refused("body", "", "JSON")
		}
		// Two that take the same number at once meet at the primary key.
		if _, err := t.ExecContext(ctx, table.layout().insert(db.dialect), fields(&row)...); err != nil {
			return err
		}
		return db.noteAudit(ctx, t, by, entry{
			action: string(table) + ".add", subject: fmt.Sprintf("%s:%d", table, row.Number), after: note,
		})
	})
	return row.Number, err
}

func (db *DB) numbered(ctx context.Context, table NumberedTables, tail string, args ...any) ([]Numbered, error) {
	rows, err := db.q().QueryContext(ctx, db.dialect.sql("SELECT "+table.layout().list("")+" FROM "+string(table)+tail), args...)
	if err != nil {
		return nil, err
	}
	all := []Numbered{}
	err = scanAll(rows, func(row *numberedRow) error {
		if row.SHA != hash(sha256.Sum256([]byte(row.Body))) {
			return fmt.Errorf("%s %d was changed in the database: %w", table, row.Number, ErrDamaged)
		}
		all = append(all, row.numbered())
		return nil
	})
	return all, err
}

// one returns the only entry of a list, or ErrNotFound.
func one[V any](all []V, err error) (V, error) {
	var none V
	switch {
	case err != nil:
		return none, err
	case len(all) == 0:
		return none, ErrNotFound
	}
	return all[0], nil
}

// RuleSet returns a rule set by its number.
func (db *DB) RuleSet(ctx context.Context, number int) (*assess.RuleSet, error) {
	v, err := db.VersionOf(ctx, RuleSets, number)
	if err != nil {
		return nil, err
	}
	return ruleSetOf(&v)
}

// RuleSetOn returns the rule set that holds on a day.
func (db *DB) RuleSetOn(ctx context.Context, day string) (*assess.RuleSet, error) {
	v, err := db.VersionOn(ctx, RuleSets, day)
	if err != nil {
		return nil, err
	}
	return ruleSetOf(&v)
}

func ruleSetOf(v *Numbered) (*assess.RuleSet, error) {
	var set assess.RuleSet
	if err := json.Unmarshal([]byte(v.Body), &set); err != nil {
		return nil, fmt.Errorf("rule set %d: %w", v.Number, err)
	}
	return &set, nil
}

// AddRuleSet adds a rule set under the next number, which it returns; the
// number in the set doesn't count. A set that doesn't compile is refused with
// what is wrong.
func (db *DB) AddRuleSet(ctx context.Context, by Actor, set assess.RuleSet, note string) (int, error) {
	n, err := db.addVersion(ctx, by, RuleSets, set.From, note, func(number int) (string, error) {
		set.Number = number
		if _, err := assess.Compile(&set); err != nil {
			return "", err
		}
		b, err := json.Marshal(&set)
		return string(b), err
	})
	return n, wrap(err, "adding a rule set")
}

// AddCreditTable adds a credit table under the next number, which it returns;
// the number in the table doesn't count. A table that is wrong is refused with
// what is wrong.
func (db *DB) AddCreditTable(ctx context.Context, by Actor, table assess.CreditTable, note string) (int, error) {
	n, err := db.addVersion(ctx, by, CreditTables, table.From, note, func(number int) (string, error) {
		table.Number = number
		if err := table.Check(); err != nil {
			return "", err
		}
		b, err := json.Marshal(table)
		return string(b), err
	})
	return n, wrap(err, "adding a credit table")
}

// PostureBandsOf reads a version of the posture bands.
func PostureBandsOf(v *Numbered) (*assess.PostureBands, error) {
	var b assess.PostureBands
	if err := json.Unmarshal([]byte(v.Body), &b); err != nil {
		return nil, fmt.Errorf("%s %d: %w", PostureBands, v.Number, err)
	}
	b.Version = v.Number
	return &b, nil
}

// PostureBandsOn returns the posture bands that hold on a day.
func (db *DB) PostureBandsOn(ctx context.Context, day string) (*assess.PostureBands, error) {
	v, err := db.VersionOn(ctx, PostureBands, day)
	if err != nil {
		return nil, err
	}
	return PostureBandsOf(&v)
}

// AddPostureBands adds posture bands under the next number, which it returns;
// they hold from a day, and their own number doesn't count. Bands that are
// wrong are refused with what is wrong.
func (db *DB) AddPostureBands(ctx context.Context, by Actor, from string, bands assess.PostureBands, note string) (int, error) {
	n, err := db.addVersion(ctx, by, PostureBands, from, note, func(number int) (string, error) {
		bands.Version = number
		if err := bands.Check(); err != nil {
			return "", err
		}
		b, err := json.Marshal(bands)
		return string(b), err
	})
	return n, wrap(err, "adding posture bands")
}

// Risks returns the risk by distance that holds on a day, nil before any was
// computed.
func (db *DB) Risks(ctx context.Context, day string) (*assess.RiskTables, error) {
	v, err := db.VersionOn(ctx, RiskTables, day)
	if errors.Is(err, ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	t, err := assess.ParseRiskTables([]byte(v.Body))
	return t, wrap(err, "%s %d", RiskTables, v.Number)
}

// AddRisks stores the risk by distance under the next number, which it returns.
// Tables that can't be read back are refused.
func (db *DB) AddRisks(ctx context.Context, by Actor, t *assess.RiskTables, note string) (int, error) {
	body, err := json.Marshal(t)
	if err == nil {
		_, err = assess.ParseRiskTables(body)
	}
	if err != nil {
		return 0, wrap(err, "adding the risk by distance")
	}
	return db.AddVersion(ctx, by, RiskTables, t.AsOf, string(body), note)
}

// seedNumbered stores the rule set and the posture bands that the program
// brings, where the tables are empty.
func (db *DB) seedNumbered(ctx context.Context) error {
	by := Actor{Account: "solewright"}
	bands := func() (Numbered, error) {
		b := assess.CurrentPostureBands()
		body, err := json.Marshal(b)
		return Numbered{From: "2026-01-01", Body: string(body), Note: b.Source}, err
	}
	rules := func() (Numbered, error) {
		set := assess.DefaultRules()
		body, err := json.Marshal(set)
		return Numbered{From: set.From, Body: string(body), Note: "house defaults"}, err
	}
	for table, first := range map[NumberedTables]func() (Numbered, error){RuleSets: rules, PostureBands: bands} {
		v, err := first()
		if err != nil {
			return err
		}
		_, err = db.addVersion(ctx, by, table, v.From, v.Note, func(number int) (string, error) {
			if number > 1 {
				return "", errSeeded
			}
			return v.Body, nil
		})
		// Another server that starts at the same time may have been faster.
		if err != nil && !errors.Is(err, errSeeded) && !errors.Is(classify(err), ErrConflict) {
			return err
		}
	}
	return nil
}

var errSeeded = errors.New("seeded before")

// scalar reads one value; found is false where there is no row.
func (db *DB) scalar(ctx context.Context, q querier, into any, query string, args ...any) (found bool, err error) {
	err = q.QueryRowContext(ctx, db.dialect.sql(query), args...).Scan(into)
	if errors.Is(err, sql.ErrNoRows) {
		return false, nil
	}
	return err == nil, err
}
