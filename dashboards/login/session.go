package login

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"regexp"
	"sync"
	"time"
)

// How long sessions last. The longest is that of NIST SP 800-63B, section 4.1.3
// (assurance level 1: log in again every 30 days); the idle time is ours, a week
// in which somebody did not look.
const (
	sessionLongest = 30 * 24 * time.Hour
	sessionIdle    = 7 * 24 * time.Hour
	// seenEvery is how exactly it is kept when a session was used last.
	seenEvery = 5 * time.Minute
	// sessionsEach is how many a user may have; the one used longest ago ends.
	sessionsEach = 20
)

// session is somebody logged in. It holds as long as the user's hash is the one
// at its beginning: a new password ends all of them.
type session struct {
	User  string    `json:"user"`
	Seal  string    `json:"seal"` // SHA-256 of the user's hash, hexadecimal
	Begun time.Time `json:"begun"`
	Seen  time.Time `json:"seen"`
}

func (s session) over(now time.Time) bool {
	return now.Sub(s.Begun) >= sessionLongest || now.Sub(s.Seen) >= sessionIdle
}

// sealOf binds a session to a user's password.
func sealOf(user User) string {
	sum := sha256.Sum256([]byte(user.Name + "\n" + user.Hash))
	return hex.EncodeToString(sum[:])
}

// sessions are kept in a file, by the SHA-256 of their tokens: who reads it can
// log in as nobody. They outlast a restart.
type sessions struct {
	path string

	mu  sync.Mutex
	all map[string]session
}

type sessionFile struct {
	Sessions map[string]session `json:"sessions"`
}

// openSessions reads the file. With an error there are no sessions, and the file
// will be written anew: it costs everybody a log-in.
func openSessions(path string) (*sessions, error) {
	s := &sessions{path: path, all: map[string]session{}}
	text, _, err := readPrivate(path)
	if err != nil || text == nil {
		return s, err
	}
	var f sessionFile
	if err := json.Unmarshal(text, &f); err != nil {
		return s, fmt.Errorf("%s: %w", path, err)
	}
	if f.Sessions != nil {
		s.all = f.Sessions
	}
	return s, nil
}

// token is what a browser holds: 32 random bytes.
type token string

var tokenPattern = regexp.MustCompile(`^[A-Za-z0-9_-]{43}$`)

func newToken() token {
	var b [32]byte
	_, _ = rand.Read(b[:]) // never fails, by its documentation
	return token(base64.RawURLEncoding.EncodeToString(b[:]))
}

func (t token) key() string {
	sum := sha256.Sum256([]byte(t))
	return hex.EncodeToString(sum[:])
}

// formToken is what the forms of a session carry. It says nothing of the token
// it is made of.
func (t token) formToken() string {
	mac := hmac.New(sha256.New, []byte(t))
	_, _ = mac.Write([]byte("coldweek form"))
	return base64.RawURLEncoding.EncodeToString(mac.Sum(nil))
}

// begin starts a session for a user. An error means that it will not outlast a
// restart.
func (s *sessions) begin(user User, now time.Time) (token, error) {
	t := newToken()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.tidy(now)
	s.makeRoom(user.Name)
	s.all[t.key()] = session{User: user.Name, Seal: sealOf(user), Begun: now, Seen: now}
	return t, s.write()
}

// tidy forgets what is over.
func (s *sessions) tidy(now time.Time) {
	for key, one := range s.all {
		if one.over(now) {
			delete(s.all, key)
		}
	}
}

// makeRoom ends a user's sessions used longest ago.
func (s *sessions) makeRoom(name string) {
	for {
		count, oldest := 0, ""
		for key, one := range s.all {
			if one.User != name {
				continue
			}
			count++
			if oldest == "" || one.Seen.Before(s.all[oldest].Seen) {
				oldest = key
			}
		}
		if count < sessionsEach {
			return
		}
		delete(s.all, oldest)
	}
}

// find returns the session of a token that holds, and keeps that it was used.
func (s *sessions) find(t token, now time.Time) (one session, ok bool, err error) {
	if !tokenPattern.MatchString(string(t)) {
		return session{}, false, nil
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	one, ok = s.all[t.key()]
	if !ok {
		return session{}, false, nil
	}
	if one.over(now) {
		delete(s.all, t.key())
		return session{}, false, s.write()
	}
	if now.Sub(one.Seen) < seenEvery {
		return one, true, nil
	}
	one.Seen = now
	s.all[t.key()] = one
	return one, true, s.write()
}

// end ends a session; one that does not exist is no error.
func (s *sessions) end(t token) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if _, ok := s.all[t.key()]; !ok {
		return nil
	}
	delete(s.all, t.key())
	return s.write()
}

// carry lets a user's sessions go on under another hash of the same password.
func (s *sessions) carry(before, after User) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	from, to := sealOf(before), sealOf(after)
	for key, one := range s.all {
		if one.Seal == from {
			one.Seal = to
			s.all[key] = one
		}
	}
	return s.write()
}

func (s *sessions) write() error {
	text, err := json.Marshal(sessionFile{Sessions: s.all})
	if err == nil {
		err = replaceFile(s.path, text)
	}
	if err != nil {
		return fmt.Errorf("write sessions: %w", err)
	}
	return nil
}
