package models

import (
	"context"
	"database/sql"
	"errors"
	"time"
)

// Sessions keeps sign-in sessions in the database, so that any server serves
// them. It is a store for scs, which hands it tokens that are hashed already.
type Sessions struct{ db *DB }

// Sessions returns the store of sessions.
func (db *DB) Sessions() Sessions { return Sessions{db} }

type sessionRow struct {
	Token     string  `gorm:"column:token;primaryKey"`
	Data      []byte  `gorm:"column:data"`
	ExpiresAt instant `gorm:"column:expires_at"`
}

// FindCtx returns a session's data; found is false where it is unknown or has
// ended.
func (s Sessions) FindCtx(ctx context.Context, token string) (data []byte, found bool, err error) {
	err = s.db.q().QueryRowContext(ctx, s.db.dialect.sql("SELECT data FROM session WHERE token = ? AND expires_at > ?"),
		token, instant(s.db.now())).Scan(&data)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, false, nil
	}
	return data, err == nil, wrap(err, "reading a session")
}

// CommitCtx stores a session's data and when it ends.
func (s Sessions) CommitCtx(ctx context.Context, token string, data []byte, expiry time.Time) error {
	_, err := s.db.q().ExecContext(ctx, s.db.dialect.sql(`
		INSERT INTO session (token, data, expires_at) VALUES (?, ?, ?)
		ON CONFLICT (token) DO UPDATE SET data = excluded.data, expires_at = excluded.expires_at`),
		token, data, instant(expiry))
	return wrap(err, "storing a session")
}

// DeleteCtx ends a session; an unknown one is no error.
func (s Sessions) DeleteCtx(ctx context.Context, token string) error {
	_, err := s.db.q().ExecContext(ctx, s.db.dialect.sql("DELETE FROM session WHERE token = ?"), token)
	return wrap(err, "ending a session")
}

// Find is FindCtx without a context, which scs's older interface asks for.
func (s Sessions) Find(token string) ([]byte, bool, error) {
	return s.FindCtx(context.Background(), token)
}

// Commit is CommitCtx without a context.
func (s Sessions) Commit(token string, data []byte, expiry time.Time) error {
	return s.CommitCtx(context.Background(), token, data, expiry)
}

// Delete is DeleteCtx without a context.
func (s Sessions) Delete(token string) error { return s.DeleteCtx(context.Background(), token) }

// Purge deletes what has ended: sessions, and counts of failed attempts.
func (s Sessions) Purge(ctx context.Context) error {
	now := instant(s.db.now())
	for _, q := range []string{"DELETE FROM session WHERE expires_at <= ?", "DELETE FROM sign_in_attempt WHERE window_ends <= ?"} {
		if _, err := s.db.q().ExecContext(ctx, s.db.dialect.sql(q), now); err != nil {
			return wrap(err, "purging sessions")
		}
	}
	return nil
}
