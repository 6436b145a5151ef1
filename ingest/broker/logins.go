package broker

import (
	"bytes"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"regexp"
	"runtime"
	"slices"
	"sync"

	"github.com/goccy/go-yaml"
	"github.com/moby/sys/atomicwriter"
	"golang.org/x/crypto/bcrypt"
	"golang.org/x/sync/singleflight"
)

// maxPassword is the longest password bcrypt takes in, in bytes.
const maxPassword = 72

// userPattern is that of a site's id.
var userPattern = regexp.MustCompile(`^[a-z0-9][a-z0-9_-]{0,62}$`)

// Logins are user names (site ids) with bcrypt hashes of their passwords, kept
// in a YAML file that only its owner may read. Its methods may be called from
// many goroutines.
//
// Checking a password costs some 50 ms of CPU by design, the same for a user
// that does not exist. A password once found right is known again by a keyed
// digest in memory, so a fleet that reconnects all at once costs nothing; and
// few checks run at a time, so guessing cannot take the whole machine.
type Logins struct {
	path    string
	cost    int
	key     []byte // of the digests, made anew by every process
	checks  singleflight.Group
	running chan struct{}
	nobody  func() []byte // hash for users that do not exist

	mu      sync.Mutex
	hashes  map[string]string
	known   map[string][]byte // digests of right passwords, by user
	text    []byte            // of the file as last read
	exposed bool
}

// file is what the YAML file holds.
type file struct {
	Logins map[string]string `yaml:"logins"`
}

// ReadLogins reads the file; one that does not exist holds no logins.
func ReadLogins(path string) (*Logins, error) {
	l := &Logins{
		path:    path,
		cost:    bcrypt.DefaultCost,
		key:     make([]byte, sha256.Size),
		running: make(chan struct{}, max(1, runtime.GOMAXPROCS(0)/2)),
		hashes:  map[string]string{},
		known:   map[string][]byte{},
	}
	l.nobody = sync.OnceValue(func() []byte {
		hash, err := bcrypt.GenerateFromPassword([]byte(rand.Text()), l.cost)
		if err != nil {
			panic("BUG: bcrypt refuses a random text: " + err.Error())
		}
		return hash
	})
	_, _ = rand.Read(l.key) // never fails, by its documentation
	if _, err := l.Reload(); err != nil {
		return nil, err
	}
	return l, nil
}

// Reload reads the file again, and returns the users whose login is gone or
// different. After an error the former logins still hold.
func (l *Logins) Reload() (changed []string, err error) {
	text, exposed, err := readLogins(l.path)
	if err != nil {
		return nil, fmt.Errorf("read logins: %w", err)
	}
	// Compared is what it holds: two changes within a tick of the file
	// system's clock have the same time, and often the same size.
	l.mu.Lock()
	same, gone := bytes.Equal(text, l.text), text == nil && len(l.hashes) > 0
	l.exposed = exposed
	l.mu.Unlock()
	if gone {
		return nil, fmt.Errorf("read logins %q: the file is gone", l.path)
	}
	if same {
		return nil, nil
	}
	hashes, err := parseLogins(text)
	if err != nil {
		return nil, fmt.Errorf("read logins %q: %w", l.path, err)
	}
	return l.replace(hashes, text), nil
}

// readLogins returns nil for a file that does not exist.
func readLogins(path string) (text []byte, exposed bool, err error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, false, nil
	}
	if err != nil {
		return nil, false, err
	}
	defer func() { _ = f.Close() }()
	info, err := f.Stat()
	if err != nil {
		return nil, false, err
	}
	text, err = io.ReadAll(f)
	return text, info.Mode().Perm()&0o077 != 0, err
}

func parseLogins(text []byte) (map[string]string, error) {
	var f file
	if err := yaml.UnmarshalWithOptions(text, &f, yaml.Strict()); err != nil && len(bytes.TrimSpace(text)) > 0 {
		return nil, err
	}
	for user, hash := range f.Logins {
		if !userPattern.MatchString(user) {
			return nil, fmt.Errorf("user name %q is no site id: small letters, digits, - and _", user)
		}
		if _, err := bcrypt.Cost([]byte(hash)); err != nil {
			return nil, fmt.Errorf("the hash of %q is not bcrypt's: set the password again", user)
		}
	}
	if f.Logins == nil {
		return map[string]string{}, nil
	}
	return f.Logins, nil
}

func (l *Logins) replace(hashes map[string]string, text []byte) (changed []string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for user, hash := range l.hashes {
		if hashes[user] != hash {
			changed = append(changed, user)
			delete(l.known, user)
		}
	}
	l.hashes, l.text = hashes, text
	slices.Sort(changed)
	return changed
}

// Path returns the file's path.
func (l *Logins) Path() string { return l.path }

// Exposed says whether others than the owner may read or write the file.
func (l *Logins) Exposed() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.exposed
}

// Users returns the user names in alphabetical order.
func (l *Logins) Users() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return slices.Sorted(maps.Keys(l.hashes))
}

// Set adds a login or changes its password, and writes the file.
func (l *Logins) Set(user, password string) error {
	switch {
	case !userPattern.MatchString(user):
		return fmt.Errorf("user name %q is no site id: small letters, digits, - and _", user)
	case len(password) < 8 || len(password) > maxPassword:
		return fmt.Errorf("the password of %q has %d bytes; use 8 to %d", user, len(password), maxPassword)
	}
	hash, err := bcrypt.GenerateFromPassword([]byte(password), l.cost)
	if err != nil {
		return fmt.Errorf("hash the password of %q: %w", user, err)
	}
	return l.change(func(hashes map[string]string) { hashes[user] = string(hash) })
}

// Remove ends a login and writes the file. One that does not exist is no
// error.
func (l *Logins) Remove(user string) error {
	return l.change(func(hashes map[string]string) { delete(hashes, user) })
}

// change writes the file as it is now, with a change, and takes it over.
func (l *Logins) change(do func(map[string]string)) error {
	if _, err := l.Reload(); err != nil {
		return err
	}
	l.mu.Lock()
	hashes := maps.Clone(l.hashes)
	l.mu.Unlock()
	do(hashes)
	text, err := yaml.Marshal(file{Logins: hashes})
	if err != nil {
		return fmt.Errorf("write logins: %w", err)
	}
	// A reader, or a power cut, finds either the old or the new file.
	if err := atomicwriter.WriteFile(l.path, text, 0o600); err != nil {
		return fmt.Errorf("write logins: %w", err)
	}
	_, err = l.Reload()
	return err
}

// Check says whether the password is the user's.
func (l *Logins) Check(user, password string) bool {
	l.mu.Lock()
	hash, exists := l.hashes[user]
	known := l.known[user]
	l.mu.Unlock()
	digest := l.digest(user, hash, password)
	if exists && hmac.Equal(known, digest) {
		return true
	}
	right, _, _ := l.checks.Do(string(digest), func() (any, error) {
		return l.compare(hash, exists, password), nil
	})
	if !right.(bool) {
		return false
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.hashes[user] == hash { // not changed in between
		l.known[user] = digest
	}
	return true
}

func (l *Logins) compare(hash string, exists bool, password string) bool {
	l.running <- struct{}{}
	defer func() { <-l.running }()
	if !exists {
		hash = string(l.nobody())
	}
	fits := len(password) <= maxPassword
	if !fits {
		password = password[:maxPassword]
	}
	return bcrypt.CompareHashAndPassword([]byte(hash), []byte(password)) == nil && exists && fits
}

// digest is bound to user, hash and password; the lengths keep them apart.
func (l *Logins) digest(user, hash, password string) []byte {
	mac := hmac.New(sha256.New, l.key)
	_, _ = fmt.Fprintf(mac, "%d %d %s%s%s", len(user), len(hash), user, hash, password)
	return mac.Sum(nil)
}
