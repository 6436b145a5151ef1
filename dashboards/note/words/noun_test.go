package words_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/note/words"
)

func TestNounsBeginLargeWhereTheLanguageSaysSo(t *testing.T) {
	german, err := words.Load("de")
	require.NoError(t, err)
	english, err := words.Load("en")
	require.NoError(t, err)
	assert.Equal(t, "Öffentliches bad", german.Noun("öffentliches_bad"))
	assert.Equal(t, "living room", english.Noun("living_room"))
	assert.Empty(t, german.Noun(""))
}
