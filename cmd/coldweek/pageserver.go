package main

import (
	"net/http"
	"time"
)

// formPatience is how long a form may take to come in; it is a few kilobytes.
const formPatience = 30 * time.Second

// pageServer serves pages to whoever reaches the port, and lets nobody hold it up
// with headers or forms that never end or connections that are not used. ReadTimeout
// is left out: it would end live values, which stay open.
func pageServer(pages http.Handler) *http.Server {
	return &http.Server{
		Handler: inTime(pages, formPatience), ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 64 << 10,
	}
}

// inTime ends what has not come in after a while.
func inTime(pages http.Handler, patience time.Duration) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.ContentLength != 0 {
			// An error means that w is no connection, which then has no end to wait for.
			_ = http.NewResponseController(w).SetReadDeadline(time.Now().Add(patience))
		}
		pages.ServeHTTP(w, r)
	})
}
