// Package notify tells engineers of findings: by e-mail, to a webhook, and on an
// MQTT topic, each engineer of the sites and severities that are theirs.
//
// What is urgent is told at once, whatever the hour unless the engineer's quiet
// hours hold it back too; what asks for attention waits for the digest, one
// message a day; what is for information is not sent. What was acknowledged or
// muted is not told again, but for a finding that has become urgent since it was
// acknowledged. A finding that ended before it was told is a line in the digest;
// one that was withdrawn before is not told. Who is to hear of an open finding and
// never was to be told of it, such as an engineer added later, gets a digest of
// those when Run begins.
// One that comes and goes is called out once an hour at most, and in a flood the
// seventh urgent message of an hour gathers what comes within ten minutes. What was
// told as over and is open again, because later readings say so, is told again; what
// waits still when something newer is told of its finding is not told at all.
//
// On an MQTT topic a finding is a state and no call: published at once, retained
// at <topic>/<site>/<kind> while one of the kind is open, cleared by an empty
// retained message when none is. So quiet hours and digests do not concern it.
//
// # Nothing lost, nothing twice
//
// Put returns when the events are on disk, in the outbox. From there Run takes
// them, message by message, in the order they came, and tries again for five days
// where something is in the way. An event put twice is one; Known says after a
// start which are missing. A message keeps its
// name however often it is sent (package deliver says what that is good for): the
// one case in which it may arrive twice is that the process, or the connection,
// ends between the other side's taking it and our noting that.
package notify
