package deliver

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"time"
)

// The headers of a post, besides Content-Type and Idempotency-Key.
const (
	TimestampHeader = "X-Coldweek-Timestamp" // Unix seconds at which it was signed
	SignatureHeader = "X-Coldweek-Signature" // "sha256=" and what Sign returns
)

// Webhook is an address that takes JSON.
type Webhook struct {
	URL        string
	SecretFile string // its first line signs what is sent
}

// Check says what is wrong with the settings.
func (w Webhook) Check() error {
	u, err := url.Parse(w.URL)
	switch {
	case w.URL == "":
		return errors.New("url is missing; write https://HOST/PATH")
	case err != nil:
		return fmt.Errorf("url: %w", err)
	case u.Scheme != "http" && u.Scheme != "https" || u.Host == "":
		return fmt.Errorf("url: %q is no address of a web server; write https://HOST/PATH", u.Redacted())
	case u.User != nil:
		return fmt.Errorf("url: %s holds a login; what is sent is signed instead", u.Redacted())
	case w.SecretFile == "":
		return errors.New("secret_file is missing; name a file whose first line both sides know")
	}
	_, err = secret("webhook secret", w.SecretFile)
	return err
}

// Sign returns the signature of a body in hexadecimal: HMAC-SHA256, keyed with
// the secret, of the timestamp as sent, a full stop, and the body as sent. A
// receiver computes the same, compares in constant time, and refuses a timestamp
// that is minutes off, so that nobody can send an old post again.
func Sign(secret, timestamp string, body []byte) string {
	mac := hmac.New(sha256.New, []byte(secret))
	mac.Write([]byte(timestamp + "."))
	mac.Write(body)
	return hex.EncodeToString(mac.Sum(nil))
}

// Poster posts to a webhook.
type Poster struct {
	hook   Webhook
	secret string
	client *http.Client
}

// Connect reads the secret; each post makes its connection, or uses the last.
func (w Webhook) Connect() (*Poster, error) {
	key, err := secret("webhook secret", w.SecretFile)
	if err != nil {
		return nil, err
	}
	return &Poster{w, key, &http.Client{
		Transport:     http.DefaultTransport.(*http.Transport).Clone(),
		Timeout:       patience,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}}, nil
}

// Close lets connections go.
func (p *Poster) Close() { p.client.CloseIdleConnections() }

// Post sends a JSON body under a key that is the same for the same message; when
// it returns nil, the server has answered 2xx. Redirects are not followed: what
// is said about a house goes to the address that was written down.
func (p *Poster) Post(ctx context.Context, key string, now time.Time, body []byte) error {
	request, err := http.NewRequestWithContext(ctx, http.MethodPost, p.hook.URL, bytes.NewReader(body))
	if err != nil {
		return fail(All, "post to webhook: %w", err)
	}
	timestamp := strconv.FormatInt(now.Unix(), 10)
	request.Header.Set("Content-Type", "application/json")
	request.Header.Set("User-Agent", "coldweek")
	request.Header.Set("Idempotency-Key", key)
	request.Header.Set(TimestampHeader, timestamp)
	request.Header.Set(SignatureHeader, "sha256="+Sign(p.secret, timestamp, body))
	answer, err := p.client.Do(request)
	if err != nil {
		return fail(All, "post to webhook: %w", err)
	}
	defer func() { _ = answer.Body.Close() }()
	said, _ := io.ReadAll(io.LimitReader(answer.Body, 4096)) // all of a short answer, so that the connection serves again
	return webhookFailure(answer, said, now)
}

func webhookFailure(answer *http.Response, said []byte, now time.Time) error {
	switch status := answer.StatusCode; {
	case status/100 == 2:
		return nil
	case status/100 == 3:
		return fail(All, "webhook answers %s to %q, which is not followed; write the final address", answer.Status, answer.Header.Get("Location"))
	case status/100 == 5, status == http.StatusTooManyRequests, status == http.StatusRequestTimeout, status == http.StatusTooEarly:
		f := fail(One, "webhook answers %s%s", answer.Status, remark(said))
		f.Pause = retryAfter(answer.Header.Get("Retry-After"), now)
		return f
	default:
		return fail(Never, "webhook answers %s%s", answer.Status, remark(said))
	}
}

// remark is the beginning of an answer's body, when it says something.
func remark(said []byte) string {
	const most = 200
	text := []rune(line(string(bytes.ToValidUTF8(said, nil))))
	switch {
	case len(text) == 0:
		return ""
	case len(text) > most:
		return ": " + string(text[:most]) + "…"
	}
	return ": " + string(text)
}

// retryAfter reads the header of that name: seconds or a date.
func retryAfter(value string, now time.Time) time.Duration {
	if seconds, err := strconv.Atoi(value); err == nil {
		return time.Duration(max(0, min(seconds, 24*3600))) * time.Second
	}
	if at, err := http.ParseTime(value); err == nil {
		return max(0, min(at.Sub(now), 24*time.Hour))
	}
	return 0
}
