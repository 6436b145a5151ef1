package login

import (
	"bytes"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"net/url"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/goccy/go-yaml"
)

// LinkLongest is how long a link may hold.
const LinkLongest = 400 * 24 * time.Hour

// Links makes and checks the links by which homeowners see the notes of one
// plant. Its methods may be called from many goroutines and processes.
//
// A link holds the plant, when it ends and the round of the plant's links, signed
// with HMAC-SHA-256. Withdrawing a plant's links raises its round. Removing the
// key withdraws all links of all plants.
type Links struct {
	keyPath, roundsPath string
}

// NewLinks returns the links of a data folder, which must exist: their key in
// links.key, made with the first link, and what was withdrawn in links.yaml.
func NewLinks(dataDir string) *Links {
	return &Links{keyPath: filepath.Join(dataDir, "links.key"), roundsPath: filepath.Join(dataDir, "links.yaml")}
}

// roundsFile counts how often a plant's links were withdrawn.
type roundsFile struct {
	Rounds map[string]uint32 `yaml:"rounds"`
}

// pass is what a link says.
type pass struct {
	site  string
	until int64 // Unix seconds
	round uint32
}

// Why a link does not open anything.
var (
	errLinkWrong     = errors.New("the link was cut short or changed")
	errLinkOver      = errors.New("the link is over")
	errLinkWithdrawn = errors.New("the link was withdrawn")
)

// linkPattern is site, end, round and signature; no number begins with 0 but 0.
var linkPattern = regexp.MustCompile(`^([a-z0-9][a-z0-9_-]{0,62})\.([1-9][0-9]{0,11})\.(0|[1-9][0-9]{0,8})\.([A-Za-z0-9_-]{43})$`)

// siteAlone is a site's id.
var siteAlone = regexp.MustCompile(`^[a-z0-9][a-z0-9_-]{0,62}$`)

// linkAddress is below which links stand.
const linkAddress = "/link/"

// New returns a link that opens a plant's notes until a time: an address below
// base, which is that of the pages, such as https://coldweek.example.
func (l *Links) New(base *url.URL, site string, now, until time.Time) (string, error) {
	switch {
	case !siteAlone.MatchString(site):
		return "", fmt.Errorf("link: %q is no site id", site)
	case !until.After(now):
		return "", fmt.Errorf("link: it would be over already, at %s", until.Format(time.RFC3339))
	case until.Sub(now) > LinkLongest:
		return "", fmt.Errorf("link: until %s is too long; at most %d days", until.Format(time.DateOnly), LinkLongest/(24*time.Hour))
	}
	key, err := l.ensureKey()
	if err != nil {
		return "", err
	}
	rounds, err := l.rounds()
	if err != nil {
		return "", err
	}
	p := pass{site: site, until: until.Unix(), round: rounds[site]}
	return base.JoinPath(linkAddress, p.sign(key)).String(), nil
}

// Withdraw ends all links of a plant at once.
func (l *Links) Withdraw(site string) error {
	if !siteAlone.MatchString(site) {
		return fmt.Errorf("withdraw links: %q is no site id", site)
	}
	return alone(l.roundsPath, func() error {
		rounds, err := l.rounds()
		if err != nil {
			return err
		}
		rounds[site]++
		text, err := yaml.Marshal(roundsFile{rounds})
		if err == nil {
			err = replaceFile(l.roundsPath, text)
		}
		if err != nil {
			return fmt.Errorf("withdraw links: %w", err)
		}
		return nil
	})
}

func (p pass) words() string { return fmt.Sprintf("%s.%d.%d", p.site, p.until, p.round) }

func (p pass) sign(key []byte) string {
	return p.words() + "." + base64.RawURLEncoding.EncodeToString(p.signature(key))
}

func (p pass) signature(key []byte) []byte {
	mac := hmac.New(sha256.New, key)
	_, _ = mac.Write([]byte("coldweek notes link 1\n" + p.words()))
	return mac.Sum(nil)
}

// parsePass reads a link's token; whether it is signed is not looked at.
func parsePass(text string) (p pass, signature []byte, err error) {
	part := linkPattern.FindStringSubmatch(text)
	if part == nil {
		return pass{}, nil, errLinkWrong
	}
	until, err := strconv.ParseInt(part[2], 10, 64)
	if err != nil {
		return pass{}, nil, errLinkWrong
	}
	round, err := strconv.ParseUint(part[3], 10, 32)
	if err != nil {
		return pass{}, nil, errLinkWrong
	}
	// Strict: one token has one spelling.
	if signature, err = base64.RawURLEncoding.Strict().DecodeString(part[4]); err != nil {
		return pass{}, nil, errLinkWrong
	}
	return pass{site: part[1], until: until, round: uint32(round)}, signature, nil
}

// check returns what a token opens. Another error than the errLink ones is a
// fault of this side; it opens nothing either.
func (l *Links) check(text string, now time.Time) (pass, error) {
	p, signature, err := parsePass(text)
	if err != nil {
		return pass{}, err
	}
	key, err := l.key()
	if errors.Is(err, fs.ErrNotExist) {
		return pass{}, errLinkWithdrawn
	}
	if err != nil {
		return pass{}, err
	}
	if !hmac.Equal(signature, p.signature(key)) {
		return pass{}, errLinkWrong
	}
	rounds, err := l.rounds()
	switch {
	case err != nil:
		return pass{}, err
	case p.round != rounds[p.site]:
		return pass{}, errLinkWithdrawn
	case now.Unix() >= p.until:
		return pass{}, errLinkOver
	}
	return p, nil
}

const keyLength = 32

func (l *Links) key() ([]byte, error) {
	key, exposed, err := readPrivate(l.keyPath)
	switch {
	case err != nil:
		return nil, fmt.Errorf("read key of links: %w", err)
	case key == nil:
		return nil, fmt.Errorf("read key of links: %s: %w", l.keyPath, fs.ErrNotExist)
	case exposed:
		return nil, fmt.Errorf("read key of links: %s may be read by others than its owner; remove it, which ends all links, and make new ones", l.keyPath)
	case len(key) != keyLength:
		return nil, fmt.Errorf("read key of links: %s has %d bytes and not %d; remove it, which ends all links, and make new ones", l.keyPath, len(key), keyLength)
	}
	return key, nil
}

// ensureKey makes the key when there is none.
func (l *Links) ensureKey() (key []byte, err error) {
	err = alone(l.keyPath, func() error {
		if key, err = l.key(); !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		key = make([]byte, keyLength)
		_, _ = rand.Read(key) // never fails, by its documentation
		return replaceFile(l.keyPath, key)
	})
	return key, err
}

func (l *Links) rounds() (map[string]uint32, error) {
	text, _, err := readPrivate(l.roundsPath)
	if err != nil {
		return nil, fmt.Errorf("read withdrawn links: %w", err)
	}
	var f roundsFile
	if len(bytes.TrimSpace(text)) > 0 {
		if err := yaml.UnmarshalWithOptions(text, &f, yaml.Strict()); err != nil {
			return nil, fmt.Errorf("read withdrawn links: %s: %s", l.roundsPath, strings.TrimSpace(yaml.FormatError(err, false, false)))
		}
	}
	if f.Rounds == nil {
		return map[string]uint32{}, nil
	}
	return f.Rounds, nil
}

// notesBelow is what may follow the address of a plant's notes: plain names, so
// that nothing can be read in two ways.
var notesBelow = regexp.MustCompile(`^(/[A-Za-z0-9_-][A-Za-z0-9_-]*(\.[A-Za-z0-9_-]+)*)*/?$`)

// notesPath is where a plant's notes begin.
func notesPath(site string) string { return "/plants/" + site + "/notes" }

// opensByLink says whether a link of a plant opens an address: its notes, what is
// below them, and only for reading.
func opensByLink(method string, address *url.URL, site string) bool {
	rest, below := strings.CutPrefix(address.EscapedPath(), notesPath(site))
	return method == http.MethodGet && siteAlone.MatchString(site) && below && notesBelow.MatchString(rest)
}
