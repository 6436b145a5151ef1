package web

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
	"github.com/moby/sys/atomicwriter"

	"coldweek/ingest/site"
)

// recordError is why a visit was not written, for who filled in the form.
type recordError struct{ reason string }

// Error returns the reason.
func (e *recordError) Error() string { return e.reason }

func refuseRecord(format string, args ...any) error {
	return &recordError{fmt.Sprintf(format, args...)}
}

func recordPath(dir, id string) string { return filepath.Join(dir, id+".yaml") }

// appendVisit adds a visit to the end of a record's visits, and changes nothing else
// of the file: comments and order stay. What would come out is read first; a record
// that would no longer be right, or would have changed elsewhere, is not written.
func (s *server) appendVisit(id string, v site.Visit) error {
	s.writing.Lock()
	defer s.writing.Unlock()
	path := recordPath(s.SitesDir, id)
	before, err := os.ReadFile(path)
	if err != nil {
		return fmt.Errorf("read site record: %w", err)
	}
	after, err := withVisit(before, v)
	if err != nil {
		return err
	}
	if err := onlyVisitAdded(path, before, after, v); err != nil {
		return err
	}
	return replaceFile(path, after)
}

// onlyVisitAdded compares the records before and after.
func onlyVisitAdded(path string, before, after []byte, v site.Visit) error {
	was, err := site.Parse(path, before)
	if err != nil {
		return refuseRecord("The record has mistakes, so nothing was added: %s", err)
	}
	is, err := site.Parse(path, after)
	if err != nil {
		return refuseRecord("With this visit the record would not be right, so nothing was added: %s", err)
	}
	n := len(was.Visits)
	if len(is.Visits) != n+1 || !reflect.DeepEqual(is.Visits[n], v) || !reflect.DeepEqual(append([]site.Visit{}, was.Visits...), is.Visits[:n:n]) {
		return refuseRecord("The visits of the record could not be added to safely; write this one into the file by hand.")
	}
	was.Visits, is.Visits = nil, nil
	wasText, err := yaml.Marshal(was)
	if err != nil {
		return fmt.Errorf("compare records: %w", err)
	}
	isText, err := yaml.Marshal(is)
	if err != nil {
		return fmt.Errorf("compare records: %w", err)
	}
	if !bytes.Equal(wasText, isText) {
		return refuseRecord("Adding the visit would change other entries, so nothing was written; write it into the file by hand.")
	}
	return nil
}

// withVisit returns a record's text with a visit added.
func withVisit(text []byte, v site.Visit) ([]byte, error) {
	item, err := yaml.MarshalWithOptions([]site.Visit{v}, yaml.IndentSequence(true))
	if err != nil {
		return nil, fmt.Errorf("encode visit: %w", err)
	}
	if windows := bytes.Count(text, []byte("\r\n")); windows > 0 {
		if windows != bytes.Count(text, []byte("\n")) {
			return nil, refuseRecord("The lines of the record end in different ways, so nothing was added; write this visit into the file by hand.")
		}
		after, err := withVisit(bytes.ReplaceAll(text, []byte("\r\n"), []byte("\n")), v)
		return bytes.ReplaceAll(after, []byte("\n"), []byte("\r\n")), err
	}
	file, err := parser.ParseBytes(text, parser.ParseComments)
	if err != nil || len(file.Docs) != 1 {
		return nil, refuseRecord("The record could not be read as one YAML document, so nothing was added.")
	}
	lines := strings.SplitAfter(string(text), "\n")
	if last := len(lines) - 1; lines[last] == "" {
		lines = lines[:last]
	} else {
		lines[last] += "\n"
	}
	at, indent, key, err := visitsPlace(file.Docs[0].Body, len(lines))
	if err != nil {
		return nil, err
	}
	for at > 0 && at < len(lines) && isLoose(lines[at-1]) {
		at-- // comments before the next key belong to it
	}
	var added strings.Builder
	if key {
		added.WriteString("visits:\n")
	}
	for line := range strings.Lines(string(item)) {
		added.WriteString(indent + strings.TrimRight(strings.TrimPrefix(line, itemIndent(item)), "\n") + "\n")
	}
	return []byte(strings.Join(lines[:at], "") + added.String() + strings.Join(lines[at:], "")), nil
}

// itemIndent is what the encoder puts before each line of a list.
func itemIndent(item []byte) string {
	return string(item[:bytes.IndexByte(item, '-')])
}

// isLoose says whether a line is empty or a comment that begins it.
func isLoose(line string) bool {
	return strings.TrimSpace(line) == "" || strings.HasPrefix(line, "#")
}

// visitsPlace returns before which line, counted from 0, the visit goes, how far its
// list is indented, and whether the key has to be written too.
func visitsPlace(root ast.Node, lines int) (at int, indent string, key bool, err error) {
	mapping, ok := root.(*ast.MappingNode)
	if !ok || mapping.IsFlowStyle {
		return 0, "", false, refuseRecord("The record is not a list of entries line by line, so nothing was added.")
	}
	for i, entry := range mapping.Values {
		if entry.Key.GetToken().Value != "visits" {
			continue
		}
		list, ok := entry.Value.(*ast.SequenceNode)
		if !ok || list.IsFlowStyle {
			return 0, "", false, refuseRecord("The record has its visits in one line (visits: […]); write them as a list below the key, then this form can add to it.")
		}
		at = lines
		if i+1 < len(mapping.Values) {
			at = mapping.Values[i+1].Key.GetToken().Position.Line - 1
		}
		return at, strings.Repeat(" ", list.Start.Position.Column-1), false, nil
	}
	return lines, "  ", true, nil
}

// replaceFile puts new content in the place of a file: whole, or not at all.
func replaceFile(path string, content []byte) error {
	info, err := os.Stat(path)
	if err != nil {
		return fmt.Errorf("write site record: %w", err)
	}
	// What is half written begins with a dot, so it is not taken for a record.
	if err := atomicwriter.WriteFile(path, content, info.Mode().Perm()); err != nil {
		return fmt.Errorf("write site record: %w", err)
	}
	return syncFolder(filepath.Dir(path))
}

// syncFolder makes a renamed file outlive a power cut.
func syncFolder(dir string) error {
	folder, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("write site record: %w", err)
	}
	defer folder.Close()
	if err := folder.Sync(); err != nil {
		return fmt.Errorf("write site record: %w", err)
	}
	return nil
}
