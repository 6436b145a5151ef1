package site

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

const (
	// maxRecordBytes is some ten times what a large building needs.
	maxRecordBytes = 128 << 10
	// maxFlowDepth and maxLineDepth bound how deeply brackets and the dashes
	// of one line nest: the parser recurses, and a stack that overflows
	// cannot be recovered.
	maxFlowDepth = 64
	maxLineDepth = 200
)

// readDocument reads YAML and returns its one mapping.
func readDocument(data []byte) (ast.Node, *Problem) {
	if len(data) > maxRecordBytes {
		return nil, &Problem{
			Message: fmt.Sprintf("a site record has at most %d KiB", maxRecordBytes>>10),
			Fix:     "keep readings in CSV files and read them with coldweek load",
		}
	}
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	if p := checkText(data); p != nil {
		return nil, p
	}
	file, err := parseYAML(string(data))
	if err != nil {
		return nil, syntaxProblem(err)
	}
	return onlyMapping(file)
}

// checkText refuses bytes that are no text.
func checkText(data []byte) *Problem {
	line, column := 1, 1
	for len(data) > 0 {
		r, size := utf8.DecodeRune(data)
		switch {
		case r == utf8.RuneError && size == 1:
			return &Problem{Line: line, Column: column, Message: fmt.Sprintf("byte 0x%02x is not UTF-8", data[0]), Fix: "save the file as UTF-8"}
		case r == 0:
			return &Problem{Line: line, Column: column, Message: "a zero byte is no text", Fix: "save the file as UTF-8"}
		case r == '\n':
			line, column = line+1, 0
		}
		column++
		data = data[size:]
	}
	return nil
}

// parseYAML keeps comments out and duplicate keys in: they are reported with
// everything else. Where the library panics on malformed input, that is a
// syntax error too.
func parseYAML(text string) (file *ast.File, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("the YAML cannot be read: %v", r)
		}
	}()
	tokens := lexer.Tokenize(text)
	if err := checkDepth(tokens); err != nil {
		return nil, err
	}
	return parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
}

func checkDepth(tokens token.Tokens) error {
	flow, onLine, line := 0, 0, 0
	for _, t := range tokens {
		if t.Position.Line != line {
			line, onLine = t.Position.Line, 0
		}
		switch t.Type {
		case token.MappingStartType, token.SequenceStartType:
			flow++
		case token.MappingEndType, token.SequenceEndType:
			flow--
		case token.SequenceEntryType, token.MappingKeyType, token.MappingValueType, token.TagType, token.AnchorType:
			if flow == 0 {
				onLine++
			}
		}
		if flow > maxFlowDepth || onLine > maxLineDepth {
			return &yaml.SyntaxError{Token: t, Message: "nested too deeply"}
		}
	}
	return nil
}

// syntaxFixes turns what the YAML parser complains about into what to do.
var syntaxFixes = []struct{ complaint, fix string }{
	{`found character '	'`, "indent with spaces, not with tabs"},
	{"could not find end character", "close the quotes"},
	{"must be specified", "close the bracket, or separate the entries with commas"},
	{"could not find flow", "close the bracket"},
	{"reserved character", "put the value in quotes"},
	{"unexpected directive", "put the value in quotes"},
	{"unexpected key name", "write a colon and a space after the key"},
	{"not allowed in this context", "check the indentation here and on the next line; put a value that holds a colon and a space in quotes"},
}

func syntaxProblem(err error) *Problem {
	p := &Problem{Fix: "compare the lines around it with those of coldweek site new"}
	var syntax *yaml.SyntaxError
	if errors.As(err, &syntax) {
		at := positionOfToken(syntax.Token)
		p.Line, p.Column, p.Message = at.line, at.column, "YAML: "+syntax.Message
	} else {
		p.Message = err.Error()
	}
	for _, known := range syntaxFixes {
		if strings.Contains(p.Message, known.complaint) {
			p.Fix = known.fix
			break
		}
	}
	return p
}

// onlyMapping returns the mapping that makes up the whole file.
func onlyMapping(file *ast.File) (ast.Node, *Problem) {
	var root ast.Node
	for _, doc := range file.Docs {
		if _, directive := doc.Body.(*ast.DirectiveNode); directive || doc.Body == nil {
			continue
		}
		if root != nil {
			at := positionOfToken(doc.Start)
			return nil, &Problem{Line: at.line, Column: at.column, Message: "a second document begins here", Fix: "write one record in each file"}
		}
		root = doc.Body
	}
	switch root.(type) {
	case *ast.MappingNode, *ast.MappingValueNode:
		return root, nil
	case nil:
		return nil, &Problem{Line: 1, Column: 1, Message: "the file is empty", Fix: `begin with id: and time_zone:; "coldweek site new" writes a starter`}
	}
	at := positionOf(root)
	return nil, &Problem{Line: at.line, Column: at.column, Message: "a site record is a mapping of keys to values", Fix: "begin with id: and time_zone:"}
}
