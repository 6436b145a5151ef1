package site

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"

	"coldweek/ingest"
)

const extension = ".yaml"

// Parse reads a record; name is what problems call the file. An error is
// Problems and holds everything wrong with the record, warnings included.
// Warnings alone are no error: Check returns them.
func Parse(name string, data []byte) (*Record, error) {
	root, stopped := readDocument(data)
	if stopped != nil {
		stopped.File = name
		return nil, Problems{*stopped}
	}
	d := newDecoder(name)
	d.at[""] = positionOf(root)
	record := &Record{}
	d.section(root, reflect.ValueOf(record).Elem(), "")
	d.checkRules(record)
	d.problems.sort()
	if d.problems.fatal() {
		return nil, d.problems
	}
	d.warnings = d.problems
	record.source = &d.source
	return record, nil
}

// Load reads a record's file.
func Load(path string) (*Record, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read site record: %w", err)
	}
	return Parse(path, data)
}

// LoadAll reads every .yaml file of a folder as a record, in the order of
// their names. The file of a record is named after its id. Records that are
// in order are returned beside the Problems of the others, so that one bad
// file stops one site and not the fleet.
func LoadAll(dir string) ([]*Record, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, fmt.Errorf("read site records: %w", err)
	}
	var f folder
	for _, e := range entries {
		if !e.IsDir() && !strings.HasPrefix(e.Name(), ".") {
			f.load(filepath.Join(dir, e.Name()))
		}
	}
	f.refuseSharedSources()
	if len(f.problems) > 0 {
		return f.records, f.problems
	}
	return f.records, nil
}

// folder gathers the records of one folder.
type folder struct {
	records  []*Record
	problems Problems
	idFile   map[string]string
}

func (f *folder) load(path string) {
	switch filepath.Ext(path) {
	case extension:
	case ".yml":
		right := strings.TrimSuffix(path, ".yml") + extension
		f.problems = append(f.problems, Problem{File: path, Message: "is not read: a site record ends in .yaml", Fix: "rename it to " + filepath.Base(right)})
		return
	default:
		return
	}
	record, err := Load(path)
	var found Problems
	switch {
	case errors.As(err, &found):
		f.problems = append(f.problems, found...)
	case err != nil:
		f.problems = append(f.problems, Problem{File: path, Message: err.Error()})
	default:
		f.add(path, record)
	}
}

// add takes a record whose name is right and not yet taken.
func (f *folder) add(path string, record *Record) {
	if f.idFile == nil {
		f.idFile = map[string]string{}
	}
	name := strings.TrimSuffix(filepath.Base(path), extension)
	other, taken := f.idFile[record.ID]
	switch {
	case taken:
		f.problems = append(f.problems, record.problem("id", fmt.Sprintf("%q is already the id of %s", record.ID, other), "give one of the sites another id"))
		return
	case name != record.ID:
		f.problems = append(f.problems, record.problem("id", fmt.Sprintf("%q is not the name of the file", record.ID),
			fmt.Sprintf("rename the file to %s%s or write id: %s", record.ID, extension, name)))
	default:
		f.records = append(f.records, record)
	}
	f.idFile[record.ID] = filepath.Base(path)
}

// refuseSharedSources finds two sites that read the same value of the same
// topic, as a copied record does that was not edited through: the readings of
// one house would count for two. Only the weather may be shared. The later of
// the two records is left out.
func (f *folder) refuseSharedSources() {
	owner := map[[3]string]string{}
	f.records = slices.DeleteFunc(f.records, func(r *Record) bool {
		before := len(f.problems)
		for _, c := range r.channelNames() {
			s := r.Channels[c]
			value := [3]string{s.Topic, s.Samples, s.Pointer}
			if other, taken := owner[value]; taken && other != r.ID {
				f.problems = append(f.problems, r.problem("channels."+string(c)+".topic",
					fmt.Sprintf("%s is also read by site %s", quote(s.Topic), other), "name the topic of this site"))
			} else if s.Topic != "" && !weather(c.Quantity()) {
				owner[value] = r.ID
			}
		}
		return len(f.problems) > before
	})
}

func weather(q ingest.Quantity) bool {
	return q == ingest.OutdoorTemp || q == ingest.OutdoorHumidity || q == ingest.Irradiance
}

// problem returns a problem with the record, at the place of the field.
func (r *Record) problem(field, message, fix string) Problem {
	p := Problem{Field: field, Message: message, Fix: fix}
	if r.source != nil {
		at := r.source.find(field)
		p.File, p.Line, p.Column = r.source.file, at.line, at.column
	}
	return p
}
