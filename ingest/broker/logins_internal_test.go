package broker

import (
	"path/filepath"
	"testing"
	"testing/synctest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/crypto/bcrypt"
)

// TestUnknownUserCostsTheSame takes the right to compute away: who then waits
// computes. Only a password found right before does not.
func TestUnknownUserCostsTheSame(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l, err := ReadLogins(filepath.Join(t.TempDir(), "logins.yaml"))
		require.NoError(t, err)
		l.cost = bcrypt.MinCost
		require.NoError(t, l.Set("mill", "seven frosty mornings"))
		require.True(t, l.Check("mill", "seven frosty mornings"))
		for range cap(l.running) {
			l.running <- struct{}{}
		}
		assert.True(t, l.Check("mill", "seven frosty mornings"))
		answers := make(chan bool, 10)
		for _, login := range [][2]string{{"mill", "guess"}, {"mill", ""}, {"nobody", "guess"}, {"", ""}} {
			go func() { answers <- l.Check(login[0], login[1]) }()
		}
		synctest.Wait()
		assert.Empty(t, answers, "all compute")
		for range cap(l.running) {
			<-l.running
		}
		for range 4 {
			assert.False(t, <-answers)
		}
		cost, err := bcrypt.Cost(l.nobody())
		require.NoError(t, err)
		assert.Equal(t, l.cost, cost, "nobody's hash costs as much as the others")
	})
}
