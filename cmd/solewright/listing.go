package main

import (
	"encoding/json"
	"fmt"
	"strings"
)

// listing prints one line a record: words between tabs, or JSON.
type listing struct {
	JSON bool `name:"json" help:"Print one line of JSON each."`
}

// field is one value of a record, under its name in JSON.
type field struct{ name, value string }

func (l *listing) line(a *app, fields ...field) error {
	if l.JSON {
		record := make(map[string]string, len(fields))
		for _, f := range fields {
			record[f.name] = f.value
		}
		return json.NewEncoder(a.stdout).Encode(record)
	}
	words := make([]string, len(fields))
	for i, f := range fields {
		words[i] = f.value
	}
	_, err := fmt.Fprintln(a.stdout, strings.Join(words, "\t"))
	return err
}
