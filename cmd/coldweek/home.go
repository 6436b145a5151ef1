package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"coldweek/ingest"
	"coldweek/ingest/site"
)

// home is the folder of one deployment.
type home struct{ dir string }

func (h home) configPath() string { return filepath.Join(h.dir, "coldweek.yaml") }
func (h home) sitesDir() string   { return filepath.Join(h.dir, "sites") }
func (h home) dataDir() string    { return filepath.Join(h.dir, "data") }
func (h home) storePath() string  { return filepath.Join(h.dataDir(), "readings.sqlite") }
func (h home) loginsPath() string { return filepath.Join(h.dir, "logins.yaml") }
func (h home) usersPath() string  { return filepath.Join(h.dir, "users.yaml") }
func (h home) schemaPath() string { return filepath.Join(h.dir, "site.schema.json") }
func (h home) sitePath(id string) string {
	return filepath.Join(h.sitesDir(), id+".yaml")
}

// openHome checks that the folder is a deployment.
func (a *app) openHome() (home, error) {
	h := home{a.homeDir}
	if _, err := os.Stat(h.sitesDir()); errors.Is(err, fs.ErrNotExist) {
		return h, usagef("%q holds no coldweek deployment (no sites folder); make one with: coldweek init %s", h.dir, h.dir)
	} else if err != nil {
		return h, fmt.Errorf("open home: %w", err)
	}
	return h, nil
}

// record loads one site record; the error of an unknown site names the nearest.
func (h home) record(id string) (*site.Record, error) {
	path := h.sitePath(id)
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return nil, h.unknownSite(id)
	}
	return site.Load(path)
}

func (h home) unknownSite(id string) error {
	files, err := filepath.Glob(filepath.Join(h.sitesDir(), "*.yaml"))
	if err != nil || len(files) == 0 {
		return usagef("site %q: %s has no site records; make one with: coldweek site new %s", id, h.sitesDir(), id)
	}
	names := make([]string, len(files))
	for i, f := range files {
		base := filepath.Base(f)
		names[i] = base[:len(base)-len(".yaml")]
	}
	return usagef("site %q has no record in %s; did you mean %q?", id, h.sitesDir(), ingest.Nearest(id, names))
}

// withHome does the work on the home's readings.
func (a *app) withHome(ctx context.Context, work func(h home, st *stores) error) error {
	h, err := a.openHome()
	if err != nil {
		return err
	}
	return a.withStore(ctx, h, func(st *stores) error { return work(h, st) })
}

// withSite does the work on one site.
func (a *app) withSite(ctx context.Context, id string, work func(h home, record *site.Record, st *stores) error) error {
	h, err := a.openHome()
	if err != nil {
		return err
	}
	record, err := h.record(id)
	if err != nil {
		return err
	}
	return a.withStore(ctx, h, func(st *stores) error { return work(h, record, st) })
}

// recordsStamp changes when a site record is written, added or removed.
func (h home) recordsStamp() string {
	stamp := ""
	entries, err := os.ReadDir(h.sitesDir())
	if err != nil {
		return err.Error()
	}
	for _, e := range entries {
		if info, err := e.Info(); err == nil {
			stamp += fmt.Sprintln(e.Name(), info.Size(), info.ModTime().UnixNano())
		}
	}
	return stamp
}
