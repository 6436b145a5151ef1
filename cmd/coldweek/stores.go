package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"coldweek/ingest/store"
	"coldweek/ingest/store/local"
)

// stores are where a deployment keeps things.
type stores struct {
	store.Store
	file *local.Store // the file in the data folder
}

// withStore opens the deployment's stores, does the work and closes them.
func (a *app) withStore(ctx context.Context, h home, work func(st *stores) error) (err error) {
	if err := os.MkdirAll(h.dataDir(), 0o750); err != nil {
		return fmt.Errorf("make data folder: %w", err)
	}
	st, err := a.openStores(ctx, h)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, st.Close()) }()
	return work(st)
}

func (a *app) openStores(ctx context.Context, h home) (*stores, error) {
	file, err := local.Open(ctx, h.storePath(), local.Options{Now: time.Now, Logger: a.quietLogger()})
	if err != nil {
		return nil, err
	}
	return &stores{Store: file, file: file}, nil
}
