package metrics

import (
	"fmt"

	"github.com/prometheus/client_golang/prometheus"
)

// Disk is the file system of the data folder.
type Disk struct{ FreeBytes, SizeBytes uint64 }

type diskCollector struct {
	disk       func() (Disk, error)
	free, size *prometheus.Desc
}

func newDiskCollector(disk func() (Disk, error)) *diskCollector {
	return &diskCollector{
		disk: disk,
		free: describe("data_filesystem_free_bytes", "What the service can still write to the file system of its data folder."),
		size: describe("data_filesystem_size_bytes", "Size of the file system of the data folder."),
	}
}

// Describe implements prometheus.Collector.
func (c *diskCollector) Describe(ch chan<- *prometheus.Desc) {
	ch <- c.free
	ch <- c.size
}

// Collect implements prometheus.Collector.
func (c *diskCollector) Collect(ch chan<- prometheus.Metric) {
	d, err := c.disk()
	if err != nil {
		ch <- prometheus.NewInvalidMetric(c.free, fmt.Errorf("read the data folder's file system: %w", err))
		return
	}
	ch <- prometheus.MustNewConstMetric(c.free, prometheus.GaugeValue, float64(d.FreeBytes))
	ch <- prometheus.MustNewConstMetric(c.size, prometheus.GaugeValue, float64(d.SizeBytes))
}
