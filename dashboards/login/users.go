package login

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/mail"
	"regexp"
	"slices"
	"strings"
	"sync"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
)

// Role is what a user may do.
type Role string

// The roles there are.
const (
	Engineer Role = "engineer" // may look and change
	Viewer   Role = "viewer"   // may look
)

// Roles are all of them.
func Roles() []Role { return []Role{Engineer, Viewer} }

// User is who may log in.
type User struct {
	Name  string `yaml:"name"`
	Role  Role   `yaml:"role"`
	EMail string `yaml:"email,omitempty"`
	Hash  string `yaml:"hash"` // PHC string of the password
}

// Passwords have at least MinPassword characters and at most maxPassword bytes.
const (
	MinPassword = 12
	maxPassword = 1024
)

// maxUsers bounds the file, which is read for every request.
const maxUsers = 500

var namePattern = regexp.MustCompile(`^[a-z0-9][a-z0-9._-]{0,62}$`)

// Users are those of a file. Its methods may be called from many goroutines and
// processes.
type Users struct {
	path string
	cost cost
	// computing bounds how many hashes are computed at a time, 64 MiB each.
	computing chan struct{}

	mu   sync.Mutex
	text []byte // of the file as last parsed
	last list
}

// fileHead begins the file.
const fileHead = "# Who may log in to the pages; coldweek user adds, changes and removes them.\n"

// list is the users of a file in its order.
type list struct {
	Users []User `yaml:"users"`
}

func (l list) find(name string) (User, bool) {
	if i := slices.IndexFunc(l.Users, func(u User) bool { return u.Name == name }); i >= 0 {
		return l.Users[i], true
	}
	return User{}, false
}

// NewUsers returns the users of the file at a path, which need not exist yet.
func NewUsers(path string) *Users {
	return &Users{path: path, cost: currentCost, computing: make(chan struct{}, 2)}
}

// List returns the users in the order of the file; none when there is no file.
func (u *Users) List() ([]User, error) {
	l, err := u.read()
	return slices.Clone(l.Users), err
}

// Exposed says whether others than the owner may read the file.
func (u *Users) Exposed() bool {
	_, exposed, _ := readPrivate(u.path)
	return exposed
}

// read reads the file as it is now. What it holds is compared, not its time: two
// changes within a tick of the file system's clock have the same.
func (u *Users) read() (list, error) {
	text, _, err := readPrivate(u.path)
	if err != nil {
		return list{}, fmt.Errorf("read users: %w", err)
	}
	u.mu.Lock()
	defer u.mu.Unlock()
	if bytes.Equal(text, u.text) {
		return u.last, nil
	}
	l, err := parseUsers(text)
	if err != nil {
		return list{}, fmt.Errorf("read users: %s: %w", u.path, err)
	}
	u.text, u.last = text, l
	return l, nil
}

func parseUsers(text []byte) (list, error) {
	var l list
	if len(bytes.TrimSpace(text)) == 0 {
		return l, nil
	}
	if err := yaml.UnmarshalWithOptions(text, &l, yaml.Strict()); err != nil {
		return list{}, errors.New(strings.TrimSpace(yaml.FormatError(err, false, false)))
	}
	if len(l.Users) > maxUsers {
		return list{}, fmt.Errorf("holds %d users; at most %d are taken", len(l.Users), maxUsers)
	}
	seen := map[string]bool{}
	for i, user := range l.Users {
		if err := user.check(); err != nil {
			return list{}, fmt.Errorf("user %s: %w", cmp.Or(user.Name, fmt.Sprintf("number %d", i+1)), err)
		}
		if seen[user.Name] {
			return list{}, fmt.Errorf("user %s is listed twice; remove one", user.Name)
		}
		seen[user.Name] = true
	}
	return l, nil
}

func (user User) check() error {
	if err := user.checkWords(); err != nil {
		return err
	}
	if _, err := parseHash(user.Hash); err != nil {
		return fmt.Errorf("hash: %w", err)
	}
	return nil
}

func (user User) checkWords() error {
	if !namePattern.MatchString(user.Name) {
		return fmt.Errorf("name %q: write small letters, digits, full stop, - and _, at most 63", user.Name)
	}
	if !slices.Contains(Roles(), user.Role) {
		return fmt.Errorf("role %q: write %s or %s", user.Role, Engineer, Viewer)
	}
	if user.EMail == "" {
		return nil
	}
	if at, err := mail.ParseAddress(user.EMail); err != nil || at.Address != user.EMail {
		return fmt.Errorf("email %q: write an address alone, such as ada@firm.example", user.EMail)
	}
	return nil
}

// checkPassword says what is wrong with a new password. Length is what counts
// (NIST SP 800-63B, section 5.1.1.2); what is guessed first is refused.
func checkPassword(name, password string) error {
	distinct := map[rune]bool{}
	for _, c := range password {
		distinct[c] = true
	}
	low := strings.ToLower(password)
	switch n := utf8.RuneCountInString(password); {
	case !utf8.ValidString(password):
		return errors.New("the password is not UTF-8 text")
	case n < MinPassword:
		return fmt.Errorf("the password has %d characters; use at least %d, such as four words that do not belong together", n, MinPassword)
	case len(password) > maxPassword:
		return fmt.Errorf("the password has %d bytes; use at most %d", len(password), maxPassword)
	case strings.ContainsFunc(password, func(c rune) bool { return c < ' ' || c == 0x7f }):
		return errors.New("the password holds a control character, such as a tab; leave it out")
	case len(distinct) < 5:
		return fmt.Errorf("the password is made of %d different characters; use at least 5", len(distinct))
	case strings.Contains(low, "coldweek") || len(name) > 3 && strings.Contains(low, name):
		return errors.New("the password holds the user's name or the program's, which is guessed first; choose other words")
	}
	return nil
}

// Add adds a user with a password, and writes the file. The user's Hash is not
// looked at.
func (u *Users) Add(user User, password string) error {
	if err := errors.Join(user.checkWords(), checkPassword(user.Name, password)); err != nil {
		return err
	}
	user.Hash = newHash(password, u.cost).String()
	return u.change(func(l *list) error {
		if _, exists := l.find(user.Name); exists {
			return fmt.Errorf("user %s exists already; for another password: coldweek user password %[1]s", user.Name)
		}
		if len(l.Users) == maxUsers {
			return fmt.Errorf("there are %d users already, which is the most", maxUsers)
		}
		l.Users = append(l.Users, user)
		return nil
	})
}

// SetPassword gives a user another password, which ends the user's sessions.
func (u *Users) SetPassword(name, password string) error {
	if err := u.known(name); err != nil {
		return err
	}
	if err := checkPassword(name, password); err != nil {
		return err
	}
	return u.setHash(name, newHash(password, u.cost).String())
}

func (u *Users) setHash(name, hash string) error {
	return u.change(func(l *list) error {
		for i := range l.Users {
			if l.Users[i].Name == name {
				l.Users[i].Hash = hash
				return nil
			}
		}
		return l.unknown(name)
	})
}

// Remove takes a user out of the file, and returns how many are left.
func (u *Users) Remove(name string) (left int, err error) {
	err = u.change(func(l *list) error {
		if _, exists := l.find(name); !exists {
			return l.unknown(name)
		}
		l.Users = slices.DeleteFunc(l.Users, func(user User) bool { return user.Name == name })
		left = len(l.Users)
		return nil
	})
	return left, err
}

// known says, as an error, that there is no such user.
func (u *Users) known(name string) error {
	l, err := u.read()
	if err != nil {
		return err
	}
	if _, exists := l.find(name); !exists {
		return l.unknown(name)
	}
	return nil
}

func (l list) unknown(name string) error {
	names := make([]string, len(l.Users))
	for i, user := range l.Users {
		names[i] = user.Name
	}
	if len(names) == 0 {
		return fmt.Errorf("there is no user %q, nor any other", name)
	}
	return fmt.Errorf("there is no user %q; there are: %s", name, strings.Join(names, ", "))
}

// change writes the file as it is now, with a change.
func (u *Users) change(do func(*list) error) error {
	return alone(u.path, func() error {
		l, err := u.read()
		if err != nil {
			return err
		}
		l.Users = slices.Clone(l.Users)
		if err := do(&l); err != nil {
			return err
		}
		text, err := yaml.Marshal(l)
		if err != nil {
			return fmt.Errorf("write users: %w", err)
		}
		if err := replaceFile(u.path, append([]byte(fileHead), text...)); err != nil {
			return fmt.Errorf("write users: %w", err)
		}
		return nil
	})
}

// verify returns the user of a name and password. It computes one hash whether
// there is such a user or not, so that names cannot be found by the time it takes.
func (u *Users) verify(ctx context.Context, name, password string) (user User, right bool, err error) {
	l, err := u.read()
	if err != nil {
		return User{}, false, err
	}
	user, exists := l.find(name)
	h, err := parseHash(user.Hash)
	if !exists || err != nil {
		h, exists = nobody(u.cost), false
	}
	err = u.compute(ctx, func() { right = h.matches(password) && exists })
	return user, right, err
}

// compute computes a hash when it is its turn.
func (u *Users) compute(ctx context.Context, work func()) error {
	select {
	case u.computing <- struct{}{}:
		defer func() { <-u.computing }()
		work()
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// errChanged says that a password is not what it was a moment ago.
var errChanged = errors.New("the password was changed meanwhile")

// renew returns the user with the password, which was found right, hashed at
// today's cost.
func (u *Users) renew(ctx context.Context, user User, password string) (User, error) {
	h, err := parseHash(user.Hash)
	if err != nil || !h.outdated(u.cost) {
		return user, err
	}
	before := user.Hash
	if err := u.compute(ctx, func() { user.Hash = newHash(password, u.cost).String() }); err != nil {
		return user, err
	}
	return user, u.change(func(l *list) error {
		for i := range l.Users {
			if l.Users[i].Name == user.Name && l.Users[i].Hash == before {
				l.Users[i].Hash = user.Hash
				return nil
			}
		}
		return errChanged
	})
}
