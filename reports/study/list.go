package study

import "slices"

// parts holds the scenarios of each part, in the order of the tables.
var parts = []struct {
	name string
	list func() []Scenario
}{
	{"shares", shares},
	{"tests", tests},
	{"life", func() []Scenario { return append(lives(), ratios()...) }},
	{"looks", looks},
	{"bands", bands},
	{"once", once},
	{"agreement", agreement},
	{"pooling", pooling},
	{"charts", charts},
	{"visits", visits},
}

// Parts returns the names of the parts, which can be run apart.
func Parts() []string {
	var names []string
	for _, p := range parts {
		names = append(names, p.name)
	}
	return names
}

// Scenarios lists every scenario, or those of the parts named.
func Scenarios(only ...string) []Scenario {
	var all []Scenario
	for _, p := range parts {
		if len(only) == 0 || slices.Contains(only, p.name) {
			all = append(all, p.list()...)
		}
	}
	return all
}
