package tally

import (
	"strconv"

	"solewright/reports/stats"
)

var poolStatistics = []statistic{{
	name: "pool", flags: []string{"hits", "size"}, run: (*job).pool,
	help:    "Each unit's share, pulled towards all units the more the fewer pairs it has. --by names the units.",
	example: "--hits medial --size seen --by model counts.csv",
}}

func (j *job) pool() error {
	if err := j.need("hits", "size", "by"); err != nil {
		return err
	}
	all, err := j.trials()
	if err != nil {
		return err
	}
	labels := j.in.labels() // need not differ where values hold commas
	for g := range all {
		all[g].Name = strconv.Itoa(g)
	}
	p, err := stats.PoolShares(all, j.seed, j.conf)
	if err != nil {
		return j.out.spread(nil, err, "alpha", "beta", "loglik", "groups")
	}
	units := make([]object, len(p.Groups))
	for g, u := range p.Groups {
		u.Name = labels[g]
		units[g].set("by", j.in.groups[g])
		if err := units[g].spread(u, nil); err != nil {
			return err
		}
	}
	j.out.set("alpha", p.Alpha)
	j.out.set("beta", p.Beta)
	j.out.set("mean", p.Mean)
	j.out.set("rho", p.Rho)
	j.out.set("loglik", p.LogLik)
	j.out.set("interval", p.Interval)
	j.out.set("groups", units)
	if p.Why != "" {
		j.out.why = append(j.out.why, p.Why)
	}
	return nil
}
