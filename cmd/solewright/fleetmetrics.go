package main

import (
	"github.com/prometheus/client_golang/prometheus"

	"solewright/reports/fleet"
)

// The metrics of the fleet in memory.
var (
	readingsMetric = newFleetMetric("readings", "Live readings in the fleet in memory.")
	pairsMetric    = newFleetMetric("pairs", "Pairs in the fleet in memory.")
	bytesMetric    = newFleetMetric("bytes", "Memory that the columns of the fleet take.")
	asOfMetric     = newFleetMetric("as_of_timestamp_seconds", "Time up to which everything written is in the fleet in memory.")
	failingMetric  = newFleetMetric("failing", "1 while the database can't be followed.")
	followedMetric = newFleetMetric("pairs_followed_total", "Pairs read again because something of theirs changed.")
)

func newFleetMetric(name, help string) *prometheus.Desc {
	return prometheus.NewDesc("solewright_fleet_"+name, help, nil, nil)
}

// fleetMetrics tells how a copy of the fleet stands.
type fleetMetrics struct{ of *fleet.Copy }

// Describe tells what Collect will send.
func (f fleetMetrics) Describe(ch chan<- *prometheus.Desc) {
	for _, m := range []*prometheus.Desc{readingsMetric, pairsMetric, bytesMetric, asOfMetric, failingMetric, followedMetric} {
		ch <- m
	}
}

// Collect sends how the copy stands; until it is loaded, only whether it fails.
func (f fleetMetrics) Collect(ch chan<- prometheus.Metric) {
	gauge := func(m *prometheus.Desc, value float64) {
		ch <- prometheus.MustNewConstMetric(m, prometheus.GaugeValue, value)
	}
	failing := 0.0
	if f.of.Failing() {
		failing = 1
	}
	gauge(failingMetric, failing)
	ch <- prometheus.MustNewConstMetric(followedMetric, prometheus.CounterValue, float64(f.of.Followed()))
	v := f.of.View()
	if v == nil {
		return
	}
	gauge(readingsMetric, float64(v.Rows))
	gauge(pairsMetric, float64(v.Pairs))
	gauge(bytesMetric, float64(v.Bytes()))
	gauge(asOfMetric, float64(v.AsOf.UnixMilli())/1e3)
}
