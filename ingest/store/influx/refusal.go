package influx

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"time"

	clienthttp "github.com/influxdata/influxdb-client-go/v2/api/http"
)

// statusError is an answer of the server that is no success.
type statusError struct {
	status     int
	text       string        // as the server put it
	advice     string        // what would be right; "" when nobody here knows
	retryAfter time.Duration // as the server asks
}

func (e *statusError) Error() string {
	message := fmt.Sprintf("InfluxDB answers %d %s", e.status, http.StatusText(e.status))
	for _, part := range []string{e.text, e.advice} {
		if part != "" {
			message += ": " + part
		}
	}
	return message
}

func (s *Store) explainStatus(status int, text string) *statusError {
	e := &statusError{status: status, text: text}
	switch status {
	case http.StatusUnauthorized:
		e.advice = `give a valid token (on InfluxDB 1.8 "user:password")`
	case http.StatusForbidden:
		e.advice = fmt.Sprintf("give a token that may read and write bucket %q", s.options.Bucket)
	case http.StatusNotFound:
		e.advice = fmt.Sprintf("make bucket %q (on InfluxDB 1.8 CREATE DATABASE), or correct bucket, org or url", s.options.Bucket)
	}
	return e
}

// matter says whose matter a failed write is, which decides what to do.
type matter int

const (
	passing   matter = iota // the network's or the server's: try again
	setup                   // somebody must set something right: try again, slowly
	oversized               // the request is too large: send it in parts
	faulty                  // some points can never be kept: find them
	unclear                 // 4xx for a reason not known: points only if others pass
)

// Points are blamed only for what is known to be theirs: tsdb/shard.go,
// coordinator/points_writer.go and models/points.go of 1.8.10; the same files
// of 2 word retention differently (v1/coordinator/points_writer.go,
// SummariseDropped). Limits such as max-series-per-database, and a shard that
// is being deleted, drop points as well and are no reason to.
var blamesPoints = regexp.MustCompile(
	`field type conflict|beyond retention policy|outside retention policy|unable to parse|invalid field name|max key length exceeded`)

func matterOf(err error) matter {
	answer := (*statusError)(nil)
	if !errors.As(err, &answer) {
		return passing
	}
	switch status := answer.status; {
	case status == http.StatusRequestTimeout || status == http.StatusTooManyRequests || status >= 500:
		return passing
	case status == http.StatusRequestEntityTooLarge:
		return oversized
	case status != http.StatusBadRequest && status != http.StatusUnprocessableEntity:
		return setup
	case strings.Contains(answer.text, "pending deletion"):
		return passing
	case strings.Contains(answer.text, "limit exceeded"):
		return setup
	case blamesPoints.MatchString(answer.text):
		return faulty
	}
	return unclear
}

// tooOld says that all of a refusal is about age, which no splitting of points
// changes.
func tooOld(err error) bool {
	return strings.Contains(err.Error(), "retention policy") && !strings.Contains(err.Error(), "field type conflict")
}

var droppedCount = regexp.MustCompile(`dropped=(\d+)`)

// droppedOf returns how many points the server says it dropped, 0 when it does
// not say.
func droppedOf(err error) int {
	found := droppedCount.FindAllStringSubmatch(err.Error(), -1)
	if len(found) == 0 {
		return 0
	}
	n, err := strconv.Atoi(found[len(found)-1][1])
	if err != nil {
		return 0
	}
	return n
}

var conflictingField = regexp.MustCompile(`input field "(.*)" on measurement`)

// conflictOf returns the field that the server says has another type, "" when it
// names none.
func conflictOf(err error) string {
	if found := conflictingField.FindStringSubmatch(err.Error()); found != nil {
		return found[1]
	}
	return ""
}

// send writes line protocol. The error is the context's, an unreachableError
// or a statusError.
func (s *Store) send(ctx context.Context, lines ...string) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	inner, patience := patient(ctx, s.options.Timeout)
	defer patience.end()
	err := s.writes.WriteRecord(inner, lines...)
	if err == nil {
		s.stats.up()
		return nil
	}
	answer := (*clienthttp.Error)(nil)
	if !errors.As(err, &answer) || answer.StatusCode == 0 {
		return s.down(s.unanswered(ctx, inner, err))
	}
	refused := s.explainStatus(answer.StatusCode, strings.TrimSpace(strings.ToValidUTF8(answer.Message, "?")))
	refused.retryAfter = time.Duration(answer.RetryAfter) * time.Second
	if matterOf(refused) == passing {
		return s.down(refused)
	}
	return refused
}
