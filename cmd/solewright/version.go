package main

import (
	"encoding/json"
	"fmt"
	"runtime/debug"

	"solewright/assess"
	"solewright/models"
)

// version is the release, set when one is built.
var version = "development"

type versionCmd struct {
	JSON bool `name:"json" help:"Print JSON."`
}

func (v *versionCmd) Run(a *app) error {
	says := struct {
		Version string `json:"version"`
		Commit  string `json:"commit"`
		Schema  int64  `json:"schema"`
		RuleSet int    `json:"rule_set"`
		Engine  string `json:"engine"`
	}{version, commit(), models.WantedSchema(), assess.DefaultRules().Number, assess.EngineVersion}
	if v.JSON {
		return json.NewEncoder(a.stdout).Encode(says)
	}
	_, err := fmt.Fprintf(a.stdout, "solewright %s, commit %s, schema %d, rule set %d, engine %s\n",
		says.Version, says.Commit, says.Schema, says.RuleSet, says.Engine)
	return err
}

// commit is the revision the binary was built from, as far as it was recorded.
func commit() string {
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			if s.Key == "vcs.revision" {
				return s.Value
			}
		}
	}
	return "unknown"
}
