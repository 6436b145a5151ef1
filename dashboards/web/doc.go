// Package web serves the pages: the fleet, and a page for each plant.
//
// It is opinionated. Pages are made on the server and complete without a
// script, offline, on a phone and on paper; the one script is comfort. Nothing
// comes from another host. A figure has its unit beside it, and one that is not
// known is a dash, never a zero. Times are the plant's wall clock, and the range
// of time looked at is in the address, so that every view can be sent to a
// colleague.
//
// The contract: only GET and HEAD; a wrong request is answered with what would
// be right, a fault of ours with a page that says no more than that there was
// one, its reason being in the log. A page weighs at most 200 kB.
//
// A new page is a template in templates/, a method that returns a *page for it,
// and a line in routes.
package web
