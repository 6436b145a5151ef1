package login

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestHashesOfTheReferenceCommand: the lines were printed by the reference
// implementation's command, Debian's argon2 0~20171227-0.3+deb12u1, as in
//
//	echo -n "seven frosty mornings" | argon2 saltsaltsaltsalt -id -t 3 -k 65536 -p 4 -l 32 -e
//
// The vector of RFC 9106, section 5.3, has a secret and associated data, which
// golang.org/x/crypto/argon2 does not take.
func TestHashesOfTheReferenceCommand(t *testing.T) {
	for line, password := range map[string]string{
		"$argon2id$v=19$m=65536,t=3,p=4$c2FsdHNhbHRzYWx0c2FsdA$HEwWhUcb1ove5Ez+ZW85IYUgVQjh27hianVSCFIW8X0": "seven frosty mornings",
		"$argon2id$v=19$m=256,t=2,p=1$c29tZXNhbHQ$qu2G0WAq2Mcp1dnsRhdn/3xW6wMLOOo2":                         "seven frosty mornings",
		"$argon2id$v=19$m=1024,t=1,p=2$YW5vdGhlciBzYWx0IDEyMw$+o1oKF1BwzK9XLn39z6bQK/HKx8W4j2xIXZXeg6HdjM":  "Überlauf",
	} {
		h, err := parseHash(line)
		require.NoError(t, err, line)
		assert.Equal(t, line, h.String())
		assert.True(t, h.matches(password), line)
		assert.False(t, h.matches(password+"x"), line)
		assert.False(t, h.matches(""), line)
	}
}

func TestNewHashes(t *testing.T) {
	// RFC 9106, section 4: the second recommended option.
	assert.Equal(t, cost{passes: 3, memoryKiB: 65536, lanes: 4}, currentCost)
	h := newHash("seven frosty mornings", currentCost)
	assert.Len(t, h.salt, 16)
	assert.Len(t, h.tag, 32)
	assert.True(t, h.matches("seven frosty mornings"))
	assert.False(t, h.outdated(currentCost))
	assert.True(t, h.outdated(cost{passes: 4, memoryKiB: 65536, lanes: 4}))
	cheap := cost{passes: 1, memoryKiB: 64, lanes: 1}
	assert.NotEqual(t, newHash("same", cheap).String(), newHash("same", cheap).String(), "each has a salt of its own")
	// One letter, as two keyboards send it: composed, and u with a diaeresis.
	assert.True(t, newHash("\u00fcbermorgen", cheap).matches("u\u0308bermorgen"))
	assert.False(t, nobody(cheap).matches(""))
}

func TestHashesThatAreRefused(t *testing.T) {
	const good = "$argon2id$v=19$m=256,t=2,p=1$c29tZXNhbHQ$qu2G0WAq2Mcp1dnsRhdn/3xW6wMLOOo2"
	for text, want := range map[string]string{
		"":                      "no Argon2id hash",
		"seven frosty mornings": "no Argon2id hash",
		"$2a$10$N9qo8uLOickgx2ZMRZoMyeIjZAgcfl7p92ldGxad68LJZdL17lhWy": "no Argon2id hash",
		strings.Replace(good, "argon2id", "argon2i", 1):                "no Argon2id hash",
		strings.Replace(good, "v=19", "v=16", 1):                       "no Argon2id hash",
		strings.Replace(good, "m=256", "m=0256", 1):                    "no Argon2id hash",
		strings.Replace(good, "m=256", "m=2097152", 1):                 "at most m=1048576",
		strings.Replace(good, "t=2", "t=17", 1):                        "t=17",
		strings.Replace(good, "p=1", "p=65", 1):                        "p=65",
		strings.Replace(good, "m=256,t=2,p=1", "m=63,t=2,p=8", 1):      "at least 8 times p",
		strings.Replace(good, "c29tZXNhbHQ", "c29tZXNhbHR", 1):         "not base64", // bits set after the end
		good + "\n": "no Argon2id hash",
		good + "=":  "no Argon2id hash",
	} {
		_, err := parseHash(text)
		if assert.ErrorContains(t, err, want, text) && len(text) > 20 {
			assert.NotContains(t, err.Error(), text[len(text)-10:], "the log does not learn it")
		}
	}
}

// FuzzParseHash: what is taken is written again as it was, and within bounds.
func FuzzParseHash(f *testing.F) {
	f.Add("$argon2id$v=19$m=256,t=2,p=1$c29tZXNhbHQ$qu2G0WAq2Mcp1dnsRhdn/3xW6wMLOOo2")
	f.Add("$argon2id$v=19$m=65536,t=3,p=4$c2FsdHNhbHRzYWx0c2FsdA$HEwWhUcb1ove5Ez+ZW85IYUgVQjh27hianVSCFIW8X0")
	f.Add("$argon2id$v=19$m=99999999,t=999,p=255$c29tZXNhbHQ$qu2G0WAq2Mcp1dnsRhdn/3xW6wMLOOo2")
	f.Fuzz(func(t *testing.T, text string) {
		h, err := parseHash(text)
		if err != nil {
			return
		}
		assert.Equal(t, text, h.String())
		assert.LessOrEqual(t, h.memoryKiB, most.memoryKiB)
		assert.GreaterOrEqual(t, h.memoryKiB, 8*uint32(h.lanes))
		assert.LessOrEqual(t, h.passes, most.passes)
		assert.GreaterOrEqual(t, len(h.salt), 8)
		assert.GreaterOrEqual(t, len(h.tag), 16)
	})
}

// BenchmarkHash is what a log-in costs.
func BenchmarkHash(b *testing.B) {
	for b.Loop() {
		newHash("seven frosty mornings", currentCost)
	}
}
