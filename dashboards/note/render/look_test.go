package render_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"coldweek/dashboards/note"
	"coldweek/dashboards/note/notetest"
	"coldweek/dashboards/note/render"
	"coldweek/dashboards/note/words"
)

// TestPictures writes the notes of four plants where they can be looked at.
func TestPictures(t *testing.T) {
	dir := os.Getenv(pictures)
	if dir == "" {
		t.Skip("set COLDWEEK_TEST_PICTURES to a folder to look at the notes")
	}
	for name, play := range map[string]func(testing.TB) *notetest.Plant{
		"good": notetest.Good, "cycling": notetest.ShortCycling, "lowflow": notetest.LowFlow, "half": notetest.HalfMissing,
	} {
		facts := play(t).Facts(t)
		for _, engineer := range []bool{false, true} {
			facts.Engineer = engineer
			l, err := words.Load(note.Language(facts.Record))
			require.NoError(t, err)
			d := note.Compose(facts, l)
			suffix := map[bool]string{true: "-engineer"}[engineer]
			for ending, form := range map[string]func(*note.Document) ([]byte, error){
				".html": render.HTML, ".mail.html": render.MailHTML, ".pdf": render.PDF,
				".txt": func(d *note.Document) ([]byte, error) { return render.Plain(d), nil },
			} {
				bytes, err := form(d)
				require.NoError(t, err)
				require.NoError(t, os.WriteFile(filepath.Join(dir, name+suffix+ending), bytes, 0o600))
			}
		}
	}
}
