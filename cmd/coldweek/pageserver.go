package main

import (
	"net/http"
	"time"
)

// pageServer serves pages to whoever reaches the port, and lets nobody hold it up
// with headers that never end or connections that are not used. ReadTimeout is left
// out: it would end live values, which stay open.
func pageServer(pages http.Handler) *http.Server {
	return &http.Server{Handler: pages, ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 64 << 10}
}
