// Package web serves the pages: the fleet, what was found over all plants, how
// readings come in, and for each plant a page for each question an engineer asks.
//
// It is opinionated. Pages are made on the server and complete without a
// script, offline, on a phone and on paper; the one script is comfort. Nothing
// comes from another host. A figure has its unit beside it, and one that is not
// known is a dash, never a zero. Times are the plant's wall clock, and what is
// looked at, range and filter, is in the address, so that every view can be sent
// to a colleague.
//
// The contract: GET and HEAD change nothing. What changes something is a form sent
// by POST from a page of the same host, by who may change things (Options.Who),
// with the token of Options.FormToken in it. A wrong request is answered with what
// would be right, a fault of ours with a page that says no more than that there was
// one, its reason being in the log. A page weighs at most 200 kB.
//
// Pages over days are made from summed-up days, never from readings; what was made
// of a window is kept while no reading of it changes (answers).
//
// A new page of a plant is a line in sections, a line in routes, and a method that
// returns a *page; one over whole days is a function that fills the parts of a
// sectionBody. Others are a template in templates/ beside.
package web
