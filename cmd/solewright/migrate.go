package main

import "fmt"

type migrateCmd struct {
	database
	Check bool `help:"Change nothing; fail when the schema is behind."`
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
	if from == to {
		fmt.Fprintf(a.stdout, "schema %d, nothing to do\n", to)
		return nil
	}
	fmt.Fprintf(a.stdout, "schema %d, was %d\n", to, from)
	return nil
}
