package deliver_test

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/notify/deliver"
)

var posted = time.Unix(1768372200, 0)

func post(t *testing.T, address string) error {
	t.Helper()
	hook := deliver.Webhook{URL: address, SecretFile: file(t, "shared secret\n")}
	require.NoError(t, hook.Check())
	p, err := hook.Connect()
	require.NoError(t, err)
	defer p.Close()
	return p.Post(t.Context(), "key-1", posted, []byte(`{"a":1}`))
}

func TestPostsAreSigned(t *testing.T) {
	var got *http.Request
	var body []byte
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		got = r
		body, _ = io.ReadAll(r.Body)
		w.WriteHeader(http.StatusAccepted)
	}))
	defer server.Close()
	require.NoError(t, post(t, server.URL+"/hook"))
	assert.Equal(t, http.MethodPost, got.Method)
	assert.Equal(t, `{"a":1}`, string(body))
	assert.Equal(t, "application/json", got.Header.Get("Content-Type"))
	assert.Equal(t, "key-1", got.Header.Get("Idempotency-Key"))
	assert.Equal(t, "1768372200", got.Header.Get("X-Coldweek-Timestamp"))
	mac := hmac.New(sha256.New, []byte("shared secret"))
	io.WriteString(mac, `1768372200.{"a":1}`)
	assert.Equal(t, "sha256="+hex.EncodeToString(mac.Sum(nil)), got.Header.Get("X-Coldweek-Signature"))
}

// TestSignatureByAnotherProgram compares with
// printf '1700000000.{"x":"ü"}' | openssl dgst -sha256 -hmac key
func TestSignatureByAnotherProgram(t *testing.T) {
	assert.Equal(t, "33e41fbfd077923447e26293514da1f9082fe65540f476ef5d38c255d96a4aa3", deliver.Sign("key", "1700000000", []byte(`{"x":"ü"}`)))
}

func TestWhatAWebhookAnswersDecidesWhetherToTryAgain(t *testing.T) {
	elsewhere := 0
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch status := r.URL.Path[1:]; status {
		case "302":
			http.Redirect(w, r, "/elsewhere", http.StatusFound)
		case "307":
			http.Redirect(w, r, "/elsewhere", http.StatusTemporaryRedirect)
		case "elsewhere":
			elsewhere++
		case "429":
			w.Header().Set("Retry-After", "90")
			http.Error(w, "slowly", http.StatusTooManyRequests)
		case "503":
			w.Header().Set("Retry-After", posted.Add(time.Minute).UTC().Format(http.TimeFormat))
			http.Error(w, "not now", http.StatusServiceUnavailable)
		case "500":
			http.Error(w, strings.Repeat("oops\n", 10000), http.StatusInternalServerError)
		case "408":
			w.WriteHeader(http.StatusRequestTimeout)
		case "404":
			http.Error(w, "no such hook", http.StatusNotFound)
		case "cut":
			panic(http.ErrAbortHandler)
		}
	}))
	defer server.Close()
	check := func(path string, scope deliver.Scope, pause time.Duration, want string) {
		t.Helper()
		err := post(t, server.URL+"/"+path)
		require.ErrorContains(t, err, want)
		f := deliver.AsFailure(err)
		assert.Equal(t, scope, f.Scope, path)
		assert.Equal(t, pause, f.Pause, path)
		assert.Less(t, len(err.Error()), 400)
	}
	check("302", deliver.All, 0, `answers 302 Found to "/elsewhere", which is not followed`)
	check("307", deliver.All, 0, "not followed")
	assert.Zero(t, elsewhere)
	check("429", deliver.One, 90*time.Second, "429 Too Many Requests: slowly")
	check("503", deliver.One, time.Minute, "503 Service Unavailable: not now")
	check("500", deliver.One, 0, "500 Internal Server Error: oops oops")
	check("408", deliver.One, 0, "408")
	check("404", deliver.Never, 0, "404 Not Found: no such hook")
	check("cut", deliver.All, 0, "EOF")
	server.Close()
	check("200", deliver.All, 0, "connection refused")
}

func TestWebhookSettingsSayWhatWouldBeRight(t *testing.T) {
	secret := file(t, "s")
	check := func(want, address, secretFile string) {
		t.Helper()
		assert.ErrorContains(t, deliver.Webhook{URL: address, SecretFile: secretFile}.Check(), want)
	}
	check("url is missing", "", secret)
	check("write https://HOST/PATH", "chat.example/hook", secret)
	check("write https://HOST/PATH", "ftp://chat.example/hook", secret)
	check("holds a login", "https://me:pw@chat.example/hook", secret)
	check("secret_file is missing", "https://chat.example/hook", "")
	check("no such file", "https://chat.example/hook", "/nowhere")
}
