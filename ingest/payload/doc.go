// Package payload turns one MQTT message into readings.
//
// Three kinds of message are understood:
//
//   - a bare number on coldweek/<site>/<channel>, such as 35.2 on
//     coldweek/mill-lane-4/flow_temp; for the mode channel also a word. A
//     channel may have a place: coldweek/mill-lane-4/room_temp/kitchen;
//   - a SenML pack (RFC 8428, JSON) on coldweek/<site>/senml. A record's name
//     is the channel, alone ("flow_temp"), behind the site ("mill-lane-4/flow_temp"),
//     or at the end of a URN ("urn:dev:ow:10e2073a0108006:flow_temp");
//   - whatever the site record maps: any topic, any JSON, with RFC 6901
//     pointers to values and times. Samples "#" is a message that is itself the
//     array of samples (RFC 6901 section 6).
//
// A mapped topic may carry many channels, and partial messages are normal: a
// pointer that finds nothing, or null, gives no reading. Only a message in
// which no pointer of a site finds anything is refused. Several sites may read
// the same value of the same topic, as a shared outdoor sensor, when they read
// it the same way.
//
// A message without a time gets the time of arrival. What cannot become a
// reading is refused value by value: the good ones of a message pass. At most
// 21 refusals come from one message, the last of them a summary.
//
// The package is opinionated where a guess could put a value into the wrong
// channel or hour: names must match exactly, times need their offset, and a
// prefix of a SenML name is dropped only where it is the site or a URN.
package payload
