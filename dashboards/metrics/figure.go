package metrics

import "github.com/prometheus/client_golang/prometheus"

// figure is a number that is read from a T.
type figure[T any] struct {
	desc *prometheus.Desc
	kind prometheus.ValueType
	read func(T) float64
}

func counter[T any](name, help string, read func(T) int64, labels ...string) figure[T] {
	return figure[T]{describe(name, help, labels...), prometheus.CounterValue, func(from T) float64 { return float64(read(from)) }}
}

func gauge[T any](name, help string, read func(T) int64, labels ...string) figure[T] {
	return figure[T]{describe(name, help, labels...), prometheus.GaugeValue, func(from T) float64 { return float64(read(from)) }}
}

func (f figure[T]) metric(from T, labels ...string) prometheus.Metric {
	return prometheus.MustNewConstMetric(f.desc, f.kind, f.read(from), labels...)
}

// describe names a metric of ours.
func describe(name, help string, labels ...string) *prometheus.Desc {
	return prometheus.NewDesc("coldweek_"+name, help, labels, nil)
}
