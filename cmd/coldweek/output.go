package main

import (
	"fmt"
	"io"
	"os"
)

// output opens a file for writing, or standard output when the path is empty.
func (a *app) output(path string) (io.Writer, func() error, error) {
	if path == "" || path == "-" {
		return a.out, func() error { return nil }, nil
	}
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o640)
	if err != nil {
		return nil, nil, fmt.Errorf("open output: %w", err)
	}
	return file, file.Close, nil
}
