package broker_test

import (
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/crypto/bcrypt"

	"coldweek/ingest/broker"
)

func TestLoginsAreKeptAsBcryptForTheOwnerOnly(t *testing.T) {
	path := filepath.Join(t.TempDir(), "logins.yaml")
	l, err := broker.ReadLogins(path)
	require.NoError(t, err, "no file is no logins")
	assert.Empty(t, l.Users())
	require.NoError(t, l.Set(mill, millPassword))
	require.NoError(t, l.Set(forge, forgePassword))

	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.NotContains(t, string(text), millPassword)
	_, hash, found := strings.Cut(string(text), mill+": ")
	require.True(t, found)
	hash, _, _ = strings.Cut(hash, "\n")
	assert.NoError(t, bcrypt.CompareHashAndPassword([]byte(hash), []byte(millPassword)))

	again, err := broker.ReadLogins(path)
	require.NoError(t, err)
	assert.Equal(t, []string{mill, forge}, again.Users())
	for range 2 { // computed, then remembered
		assert.True(t, again.Check(mill, millPassword))
		assert.False(t, again.Check(mill, forgePassword))
		assert.False(t, again.Check(mill, ""))
		assert.False(t, again.Check("nobody", millPassword))
	}
}

func TestChangedPasswordIsNotRemembered(t *testing.T) {
	path := filepath.Join(t.TempDir(), "logins.yaml")
	l, err := broker.ReadLogins(path)
	require.NoError(t, err)
	l.SetCost(bcrypt.MinCost)
	require.NoError(t, l.Set(mill, millPassword))
	require.True(t, l.Check(mill, millPassword))
	require.NoError(t, l.Set(mill, "a new password"))
	assert.False(t, l.Check(mill, millPassword))
	assert.True(t, l.Check(mill, "a new password"))
	require.NoError(t, l.Remove(mill))
	assert.False(t, l.Check(mill, "a new password"))
}

func TestReloadNamesWhoseLoginChanged(t *testing.T) {
	path := filepath.Join(t.TempDir(), "logins.yaml")
	l, err := broker.ReadLogins(path)
	require.NoError(t, err)
	l.SetCost(bcrypt.MinCost)
	for _, user := range []string{"changes", "goes", "stays"} {
		require.NoError(t, l.Set(user, "password"))
	}
	other, err := broker.ReadLogins(path)
	require.NoError(t, err)
	other.SetCost(bcrypt.MinCost)
	require.NoError(t, other.Set("comes", "password"))
	require.NoError(t, other.Set("changes", "another password"))
	require.NoError(t, other.Remove("goes"))
	changed, err := l.Reload()
	require.NoError(t, err)
	assert.Equal(t, []string{"changes", "goes"}, changed)
	assert.Equal(t, []string{"changes", "comes", "stays"}, l.Users())

	require.NoError(t, os.WriteFile(path, []byte("logins: ["), 0o600))
	_, err = l.Reload()
	assert.ErrorContains(t, err, path)
	assert.True(t, l.Check("stays", "password"), "a broken file changes nothing")
	require.NoError(t, os.Remove(path))
	_, err = l.Reload()
	assert.ErrorContains(t, err, "is gone")
	assert.True(t, l.Check("stays", "password"), "nor does a lost one, as while an editor saves")
}

func TestLoginsFileErrorsSayWhatIsWrong(t *testing.T) {
	path := filepath.Join(t.TempDir(), "logins.yaml")
	check := func(text, want string) {
		t.Helper()
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		_, err := broker.ReadLogins(path)
		assert.ErrorContains(t, err, want)
		assert.ErrorContains(t, err, path)
	}
	check("logins:\n  Mill Lane: x\n", `"Mill Lane" is no site id`)
	check("logins:\n  mill: plain text\n", `the hash of "mill" is not bcrypt's`)
	check("login:\n  mill: x\n", `unknown field "login"`)

	l, err := broker.ReadLogins(filepath.Join(t.TempDir(), "logins.yaml"))
	require.NoError(t, err)
	assert.ErrorContains(t, l.Set("Mill", millPassword), "is no site id")
	assert.ErrorContains(t, l.Set(mill, "short"), "has 5 bytes; use 8 to 72")
	assert.ErrorContains(t, l.Set(mill, strings.Repeat("x", 73)), "has 73 bytes; use 8 to 72")
	require.NoError(t, l.Set(mill, strings.Repeat("x", 72)))
	assert.False(t, l.Check(mill, strings.Repeat("x", 73)), "bcrypt alone would cut it to 72")
}

func TestExposedLoginsFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "logins.yaml")
	l, err := broker.ReadLogins(path)
	require.NoError(t, err)
	l.SetCost(bcrypt.MinCost)
	require.NoError(t, l.Set(mill, millPassword))
	assert.False(t, l.Exposed())
	require.NoError(t, os.Chmod(path, 0o640))
	again, err := broker.ReadLogins(path)
	require.NoError(t, err)
	assert.True(t, again.Exposed())
}

// TestReconnectStormIsCheap: at bcrypt's default cost, the 20,000 checks below
// would take a quarter of an hour; the test's time limit would end them.
func TestReconnectStormIsCheap(t *testing.T) {
	l, err := broker.ReadLogins(filepath.Join(t.TempDir(), "logins.yaml"))
	require.NoError(t, err)
	require.NoError(t, l.Set(mill, millPassword))
	var storm sync.WaitGroup
	for range 20 {
		storm.Go(func() {
			for range 1000 {
				assert.True(t, l.Check(mill, millPassword))
			}
		})
	}
	storm.Wait()
}
