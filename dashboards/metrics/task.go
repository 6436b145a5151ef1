package metrics

import (
	"context"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// Task is work that the service does again and again.
type Task string

// The tasks.
const (
	Round Task = "watch_round" // a look at every site
	Look  Task = "look"        // at one site
	Days  Task = "site_days"   // of one site, summed up
	Seal  Task = "seal"        // packing finished days
)

var tasks = []Task{Round, Look, Days, Seal}

// Tasks count how long tasks take, whether they fail, and when they last went
// well. Its methods may be used by many goroutines.
type Tasks struct {
	now      func() time.Time
	duration *prometheus.HistogramVec
	failures *prometheus.CounterVec
	success  *prometheus.GaugeVec
}

// NewTasks counts from nothing; now is the clock.
func NewTasks(now func() time.Time) *Tasks {
	t := &Tasks{
		now: now,
		duration: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "coldweek_task_duration_seconds", Help: "How long tasks took, those that failed included.",
			Buckets: []float64{0.001, 0.005, 0.025, 0.1, 0.5, 2.5, 10, 60, 300},
		}, []string{"task"}),
		failures: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "coldweek_task_failures_total", Help: "Tasks that failed; they are begun again in time.",
		}, []string{"task"}),
		success: prometheus.NewGaugeVec(prometheus.GaugeOpts{
			Name: "coldweek_task_last_success_timestamp_seconds", Help: "Unix time at which a task last ended well; absent until it does.",
		}, []string{"task"}),
	}
	for _, task := range tasks {
		t.duration.WithLabelValues(string(task))
		t.failures.WithLabelValues(string(task))
	}
	return t
}

// Do does a task, counts it and returns its error. One that was broken off because
// ctx ended counts for nothing.
func (t *Tasks) Do(ctx context.Context, task Task, work func(context.Context) error) error {
	began := t.now()
	err := work(ctx)
	if err != nil && ctx.Err() != nil {
		return err
	}
	ended := t.now()
	t.duration.WithLabelValues(string(task)).Observe(ended.Sub(began).Seconds())
	if err != nil {
		t.failures.WithLabelValues(string(task)).Inc()
		return err
	}
	t.success.WithLabelValues(string(task)).Set(unixSeconds(ended))
	return nil
}
