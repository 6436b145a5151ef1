//go:build linux || darwin

package main

import (
	"fmt"
	"syscall"

	"coldweek/dashboards/metrics"
)

// diskOf tells of the file system that a folder is on.
func diskOf(dir string) func() (metrics.Disk, error) {
	return func() (metrics.Disk, error) {
		var s syscall.Statfs_t
		if err := syscall.Statfs(dir, &s); err != nil {
			return metrics.Disk{}, fmt.Errorf("file system of %q: %w", dir, err)
		}
		blockBytes := uint64(s.Bsize)
		return metrics.Disk{FreeBytes: s.Bavail * blockBytes, SizeBytes: s.Blocks * blockBytes}, nil
	}
}
