package main

import (
	"encoding/json"
	"fmt"
)

type migrateCmd struct {
	database
	Check bool `help:"Change nothing; fail when the schema is behind."`
	JSON  bool `name:"json" help:"Print the numbers of the schema as one line of JSON."`
}

func (m *migrateCmd) Run(a *app) error {
	db, err := m.open(a, a.logger(), !m.Check)
	if err != nil {
		return err
	}
	defer db.Close()
	if m.Check {
		return db.CheckSchema(a.ctx)
	}
	from, to, err := db.Migrate(a.ctx)
	if err != nil {
		return err
	}
	switch {
	case m.JSON:
		err = json.NewEncoder(a.stdout).Encode(map[string]int64{"schema": to, "was": from})
	case from == to:
		_, err = fmt.Fprintf(a.stdout, "schema %d, nothing to do\n", to)
	default:
		_, err = fmt.Fprintf(a.stdout, "schema %d, was %d\n", to, from)
	}
	return err
}
