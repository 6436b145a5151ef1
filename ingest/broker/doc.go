// Package broker is an MQTT broker inside the program, for plants that publish
// straight to coldweek: MQTT 3.1.1 and 5, TLS, a login for each site.
//
// A PUBACK means 'on disk'. It is written after the message's commit, however
// many messages of a client are under way, and in their order; while the store
// fails nothing is acknowledged, and pings are still answered. A QoS 2 message
// is on disk before its PUBREC; a copy that comes after the broker restarted
// is taken as new, which the store makes harmless.
//
// It passes nothing on: a site can write its own topics and read none, so
// there are no subscribers, nothing is retained, and a client's session holds
// nothing worth keeping. What a site publishes where it may not goes to
// quarantine under the name of its login and is acknowledged: refused by
// closing the connection, as MQTT 3.1.1 would have it otherwise, it would come
// back for ever and hold up what follows it.
package broker
