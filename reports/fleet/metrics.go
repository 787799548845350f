package fleet

import "github.com/prometheus/client_golang/prometheus"

// The metrics of a copy, which is a prometheus.Collector.
var (
	readingsMetric = newMetric("readings", "Live readings in the fleet in memory.")
	pairsMetric    = newMetric("pairs", "Pairs in the fleet in memory.")
	bytesMetric    = newMetric("bytes", "Memory that the columns of the fleet take.")
	asOfMetric     = newMetric("as_of_timestamp_seconds", "Time up to which everything written is in the fleet in memory.")
	failingMetric  = newMetric("failing", "1 while the database can't be followed.")
	followedMetric = newMetric("pairs_followed_total", "Pairs read again because something of theirs changed.")
)

func newMetric(name, help string) *prometheus.Desc {
	return prometheus.NewDesc("solewright_fleet_"+name, help, nil, nil)
}

// Describe tells what Collect will send.
func (c *Copy) Describe(ch chan<- *prometheus.Desc) {
	for _, m := range []*prometheus.Desc{readingsMetric, pairsMetric, bytesMetric, asOfMetric, failingMetric, followedMetric} {
		ch <- m
	}
}

// Collect sends how the copy stands; until it is loaded, only whether it fails.
func (c *Copy) Collect(ch chan<- prometheus.Metric) {
	gauge := func(m *prometheus.Desc, value float64) {
		ch <- prometheus.MustNewConstMetric(m, prometheus.GaugeValue, value)
	}
	gauge(failingMetric, float64(one(c.failure.Load() != nil)))
	ch <- prometheus.MustNewConstMetric(followedMetric, prometheus.CounterValue, float64(c.followed.Load()))
	v := c.View()
	if v == nil {
		return
	}
	gauge(readingsMetric, float64(v.Rows))
	gauge(pairsMetric, float64(v.Pairs))
	gauge(bytesMetric, float64(v.Bytes()))
	gauge(asOfMetric, float64(v.AsOf.UnixMilli())/1e3)
}

// Bytes returns what the columns of the view and the keys of runners take.
func (v *View) Bytes() int {
	n := 8 * cap(v.runners)
	for i := range v.segments {
		s := &v.segments[i]
		n += 8 * cap(s.struck)
		for _, column := range s.columns() {
			n += column.bytes()
		}
	}
	return n
}
