// Package receive takes messages from MQTT and acknowledges each only when
// its readings are on disk.
//
// Intake is the group committer: whoever has a message (the Subscriber, the
// embedded broker) hands it over and is told when it is safe. Messages that
// wait at the same time share one commit, so a thousand sites cost no more
// disk syncs than one. Nothing accepted is ever dropped: while the store
// fails, the messages wait, unacknowledged, and their sources are held up.
//
// What cannot become a reading goes to quarantine, durably, before it is
// acknowledged: garbage acknowledged and kept for looking at beats garbage
// that comes back for ever.
//
// Messages come at least once. The same reading twice changes nothing in the
// store, so a repeated delivery is harmless when the message carries its own
// time. One without (a bare number) is given the time it first arrived, which
// Arrivals remembers for messages that are delivered again; see there for
// what that can and cannot do.
package receive
