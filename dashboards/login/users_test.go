package login

import (
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/synctest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const (
	adaPassword = "seven frosty mornings"
	leePassword = "a kettle on the hob"
)

// cheap is a cost for tests that are about something else.
var cheap = cost{passes: 1, memoryKiB: 64, lanes: 1}

// cheapUsers returns the users of an empty folder.
func cheapUsers(t testing.TB) *Users {
	t.Helper()
	u := NewUsers(filepath.Join(t.TempDir(), "users.yaml"))
	u.cost = cheap
	return u
}

func TestUsersAreKeptForTheOwnerOnly(t *testing.T) {
	u := cheapUsers(t)
	list, err := u.List()
	require.NoError(t, err, "no file is no users")
	assert.Empty(t, list)
	require.NoError(t, u.Add(User{Name: "ada", Role: Engineer, EMail: "ada@firm.example"}, adaPassword))
	require.NoError(t, u.Add(User{Name: "lee", Role: Viewer}, leePassword))

	info, err := os.Stat(u.path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	text, err := os.ReadFile(u.path)
	require.NoError(t, err)
	assert.NotContains(t, string(text), adaPassword)
	assert.Contains(t, string(text), "$argon2id$v=19$")

	again := NewUsers(u.path)
	list, err = again.List()
	require.NoError(t, err)
	require.Len(t, list, 2)
	assert.Equal(t, []string{"ada", "lee"}, []string{list[0].Name, list[1].Name})
	assert.Equal(t, "ada@firm.example", list[0].EMail)
	assert.Equal(t, Viewer, list[1].Role)
	for name, password := range map[string]string{"ada": adaPassword, "lee": leePassword} {
		user, right, err := again.verify(t.Context(), name, password)
		require.NoError(t, err)
		assert.True(t, right)
		assert.Equal(t, name, user.Name)
	}
	for _, wrong := range [][2]string{{"ada", leePassword}, {"ada", ""}, {"nobody", adaPassword}, {"", ""}} {
		_, right, err := again.verify(t.Context(), wrong[0], wrong[1])
		require.NoError(t, err)
		assert.False(t, right, wrong)
	}
	left, err := again.Remove("ada")
	require.NoError(t, err)
	assert.Equal(t, 1, left)
	_, right, err := u.verify(t.Context(), "ada", adaPassword)
	require.NoError(t, err)
	assert.False(t, right)
}

func TestUserErrorsSayWhatWouldBeRight(t *testing.T) {
	u := cheapUsers(t)
	check := func(user User, password, want string) {
		t.Helper()
		assert.ErrorContains(t, u.Add(user, password), want)
	}
	check(User{Name: "Ada", Role: Engineer}, adaPassword, "small letters")
	check(User{Name: "ada", Role: "admin"}, adaPassword, "write engineer or viewer")
	check(User{Name: "ada", Role: Engineer, EMail: "Ada <ada@firm.example>"}, adaPassword, "an address alone")
	ada := User{Name: "augusta", Role: Engineer}
	check(ada, "short", "has 5 characters; use at least 12")
	check(ada, strings.Repeat("ü", 11), "has 11 characters")
	check(ada, strings.Repeat("abcdefg ", 129), "has 1032 bytes; use at most 1024")
	check(ada, "aaaaaaabbbbbbb", "2 different characters")
	check(ada, "Augusta1234567", "the user's name")
	check(ada, "coldweek-2026!", "the program's")
	check(ada, "seven\tfrosty mornings", "control character")
	check(ada, "seven frosty \xff mornings", "UTF-8")
	_, err := os.Stat(u.path)
	assert.ErrorIs(t, err, os.ErrNotExist, "nothing was written")

	require.NoError(t, u.Add(ada, adaPassword))
	check(ada, adaPassword, "coldweek user password augusta")
	assert.ErrorContains(t, u.SetPassword("lee", leePassword), `no user "lee"; there are: augusta`)
	assert.ErrorContains(t, u.SetPassword("augusta", "short"), "at least 12")
	_, err = u.Remove("lee")
	assert.ErrorContains(t, err, `no user "lee"`)
}

func TestDamagedUsersFile(t *testing.T) {
	u := cheapUsers(t)
	line := "hash: " + newHash(adaPassword, cheap).String()
	check := func(text, want string) {
		t.Helper()
		require.NoError(t, os.WriteFile(u.path, []byte(text), 0o600))
		_, err := u.List()
		assert.ErrorContains(t, err, want)
		assert.ErrorContains(t, err, u.path)
		_, right, err := u.verify(t.Context(), "ada", adaPassword)
		assert.Error(t, err)
		assert.False(t, right)
		assert.Error(t, u.Add(User{Name: "lee", Role: Viewer}, leePassword), "nothing is written over it")
	}
	check("users: [", "sequence")
	check("user:\n- name: ada\n", `unknown field "user"`)
	check("users:\n- name: ada\n  role: engineer\n  hash: "+adaPassword+"\n", "user ada: hash: is no Argon2id hash")
	check("users:\n- name: ada\n  role: chief\n  "+line+"\n", "write engineer or viewer")
	check("users:\n- role: viewer\n  "+line+"\n", "user number 1: name")
	check("users:\n- {name: ada, role: viewer, '"+strings.Replace(line, ": ", "': '", 1)+"'}\n- {name: ada, role: engineer, '"+strings.Replace(line, ": ", "': '", 1)+"'}\n", "listed twice")
	good := "users:\n- name: ada\n  role: engineer\n  " + line + "\n"
	require.NoError(t, os.WriteFile(u.path, []byte(good), 0o600))
	require.NoError(t, os.Chmod(u.path, 0o620))
	_, err := u.List()
	assert.ErrorContains(t, err, "chmod 600")
	require.NoError(t, os.Chmod(u.path, 0o640))
	list, err := u.List()
	require.NoError(t, err, "what others may read is told of, and holds")
	assert.Len(t, list, 1)
	assert.True(t, u.Exposed())
}

func TestPasswordIsKeptAtTodaysCost(t *testing.T) {
	u := cheapUsers(t)
	require.NoError(t, u.Add(User{Name: "ada", Role: Engineer}, adaPassword))
	before, _, err := u.verify(t.Context(), "ada", adaPassword)
	require.NoError(t, err)
	same, err := u.renew(t.Context(), before, adaPassword)
	require.NoError(t, err)
	assert.Equal(t, before, same)

	u.cost = cost{passes: 2, memoryKiB: 128, lanes: 2}
	after, err := u.renew(t.Context(), before, adaPassword)
	require.NoError(t, err)
	assert.Contains(t, after.Hash, "m=128,t=2,p=2")
	again, right, err := u.verify(t.Context(), "ada", adaPassword)
	require.NoError(t, err)
	assert.True(t, right)
	assert.Equal(t, after, again)

	require.NoError(t, u.SetPassword("ada", leePassword))
	_, err = u.renew(t.Context(), before, adaPassword)
	assert.ErrorIs(t, err, errChanged, "a former password does not come back")
	_, right, err = u.verify(t.Context(), "ada", adaPassword)
	require.NoError(t, err)
	assert.False(t, right)
}

// TestUnknownNameCostsTheSame takes the right to compute away: who then waits
// computes. A hash is computed once for each.
func TestUnknownNameCostsTheSame(t *testing.T) {
	u := cheapUsers(t)
	require.NoError(t, u.Add(User{Name: "ada", Role: Engineer}, adaPassword))
	synctest.Test(t, func(t *testing.T) {
		u.computing = make(chan struct{}, 2)
		for range cap(u.computing) {
			u.computing <- struct{}{}
		}
		answers := make(chan bool, 10)
		for _, login := range [][2]string{{"ada", "guess"}, {"ada", ""}, {"nobody", "guess"}, {"", ""}, {"No Name\x00", "guess"}} {
			go func() {
				_, right, err := u.verify(t.Context(), login[0], login[1])
				answers <- right || err != nil
			}()
		}
		synctest.Wait()
		assert.Empty(t, answers, "all compute")
		for range cap(u.computing) {
			<-u.computing
		}
		for range 5 {
			assert.False(t, <-answers)
		}
	})
	assert.Equal(t, u.cost, nobody(u.cost).cost, "nobody's hash costs as much as the others")
}

// TestManyWritersLoseNothing: as of several terminals.
func TestManyWritersLoseNothing(t *testing.T) {
	u := cheapUsers(t)
	var writers sync.WaitGroup
	for i := range 20 {
		writers.Go(func() {
			own := NewUsers(u.path)
			own.cost = cheap
			assert.NoError(t, own.Add(User{Name: "user-" + string(rune('a'+i)), Role: Viewer}, adaPassword))
		})
	}
	writers.Wait()
	list, err := u.List()
	require.NoError(t, err)
	assert.Len(t, list, 20)
}
