package login

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"fmt"
	"regexp"
	"strconv"

	"golang.org/x/crypto/argon2"
	"golang.org/x/text/unicode/norm"
)

// cost is what a hash takes to compute: passes over memory, memory in KiB, lanes.
type cost struct {
	passes, memoryKiB uint32
	lanes             uint8
}

// currentCost is the second recommended option of RFC 9106, section 4, for
// machines with little memory: 3 passes over 64 MiB in 4 lanes.
var currentCost = cost{passes: 3, memoryKiB: 64 << 10, lanes: 4}

// Lengths of salt and tag in bytes, of the same section.
const (
	saltLength = 16
	tagLength  = 32
)

// most bounds what a line of the file may make this machine do.
var most = cost{passes: 16, memoryKiB: 1 << 20, lanes: 64}

// hash is a password's Argon2id hash.
type hash struct {
	cost
	salt, tag []byte
}

// newHash hashes a password with a new salt.
func newHash(password string, c cost) hash {
	h := nobody(c)
	h.tag = h.derive(password)
	return h
}

// nobody returns a hash that no password has, for users that do not exist:
// comparing with it costs what others cost.
func nobody(c cost) hash {
	h := hash{cost: c, salt: make([]byte, saltLength), tag: make([]byte, tagLength)}
	_, _ = rand.Read(h.salt) // never fails, by its documentation
	_, _ = rand.Read(h.tag)
	return h
}

func (h hash) derive(password string) []byte {
	return argon2.IDKey(normal(password), h.salt, h.passes, h.memoryKiB, h.lanes, uint32(len(h.tag)))
}

// normal gives a password the same bytes on every keyboard: NFC, as RFC 8265,
// section 4.2, asks for.
func normal(password string) []byte { return norm.NFC.Bytes([]byte(password)) }

// matches says whether the hash is the password's.
func (h hash) matches(password string) bool {
	return subtle.ConstantTimeCompare(h.derive(password), h.tag) == 1
}

// outdated says whether the hash was made at another cost than new ones.
func (h hash) outdated(now cost) bool {
	return h.cost != now || len(h.salt) != saltLength || len(h.tag) != tagLength
}

// String returns the hash as PHC string: Argon2's own encoding, as its reference
// command prints it.
func (h hash) String() string {
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, h.memoryKiB, h.passes, h.lanes,
		base64.RawStdEncoding.EncodeToString(h.salt), base64.RawStdEncoding.EncodeToString(h.tag))
}

// phcPattern allows salts of 8 to 48 bytes and tags of 16 to 64.
var phcPattern = regexp.MustCompile(`^\$argon2id\$v=19\$m=([1-9][0-9]{0,7}),t=([1-9][0-9]{0,2}),p=([1-9][0-9]{0,2})\$([A-Za-z0-9+/]{11,64})\$([A-Za-z0-9+/]{22,86})$`)

// parseHash reads a PHC string. An error never holds the string.
func parseHash(text string) (hash, error) {
	var h hash
	part := phcPattern.FindStringSubmatch(text)
	if part == nil {
		return h, fmt.Errorf("is no Argon2id hash such as $argon2id$v=19$m=65536,t=3,p=4$SALT$TAG; set the password again")
	}
	number := func(digits string) uint32 {
		n, _ := strconv.ParseUint(digits, 10, 32) // fits, by the pattern
		return uint32(n)
	}
	memoryKiB, passes, lanes := number(part[1]), number(part[2]), number(part[3])
	if memoryKiB > most.memoryKiB || passes > most.passes || lanes > uint32(most.lanes) || memoryKiB < 8*lanes {
		return h, fmt.Errorf("is a hash of m=%d,t=%d,p=%d; at most m=%d,t=%d,p=%d is computed here, and m is at least 8 times p",
			memoryKiB, passes, lanes, most.memoryKiB, most.passes, most.lanes)
	}
	h.cost = cost{passes: passes, memoryKiB: memoryKiB, lanes: uint8(lanes)}
	var err error
	if h.salt, err = base64.RawStdEncoding.Strict().DecodeString(part[4]); err == nil {
		h.tag, err = base64.RawStdEncoding.Strict().DecodeString(part[5])
	}
	if err != nil {
		return hash{}, fmt.Errorf("is a hash cut short or changed: salt or tag are not base64; set the password again")
	}
	return h, nil
}
