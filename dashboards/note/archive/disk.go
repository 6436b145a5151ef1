package archive

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

func compare(a, b Entry) int {
	return cmp.Or(cmp.Compare(a.Site, b.Site), cmp.Compare(a.Month, b.Month), cmp.Compare(a.Issue, b.Issue))
}

func readJSON(path string, value any) error {
	text, err := os.ReadFile(path)
	if err != nil {
		return fmt.Errorf("read archive of notes: %w", err)
	}
	if err := json.Unmarshal(text, value); err != nil {
		return fmt.Errorf("read archive of notes: %s: %w", path, err)
	}
	return nil
}

// writeJSON puts a file in the place of the one before, whole or not at all.
func writeJSON(path string, value any) error {
	text, err := json.MarshalIndent(value, "", "  ")
	if err != nil {
		return fmt.Errorf("write archive of notes: %w", err)
	}
	fresh := filepath.Join(filepath.Dir(path), ".new-"+filepath.Base(path))
	if err := writeFile(fresh, append(text, '\n')); err != nil {
		return err
	}
	if err := os.Rename(fresh, path); err != nil {
		return fmt.Errorf("write archive of notes: %w", err)
	}
	return nil
}

// writeFile returns when the content is on disk.
func writeFile(path string, content []byte) (err error) {
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o640)
	if err != nil {
		return fmt.Errorf("write archive of notes: %w", err)
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	if _, err := file.Write(content); err != nil {
		return fmt.Errorf("write archive of notes: %w", err)
	}
	return file.Sync()
}

// syncDir makes what was put into a folder last.
func syncDir(dir string) (err error) {
	folder, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("write archive of notes: %w", err)
	}
	defer func() { err = errors.Join(err, folder.Close()) }()
	return folder.Sync()
}
