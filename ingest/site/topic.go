package site

import "coldweek/ingest"

// TopicRoot is the first level of the default topics.
const TopicRoot = "coldweek"

// TopicPrefix returns what the topics of a site begin with, "coldweek/<id>/".
// No other site may write below it.
func TopicPrefix(id string) string { return TopicRoot + "/" + id + "/" }

// DefaultTopic returns the topic on which a channel is expected, as a bare
// number, when its site record names no other.
func DefaultTopic(id string, channel ingest.Channel) string {
	return TopicPrefix(id) + string(channel)
}
