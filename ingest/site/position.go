package site

import (
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"
)

// position is a place in the file, 1-based; the zero value is "not known".
type position struct{ line, column int }

func positionOfToken(t *token.Token) position {
	if t == nil || t.Position == nil {
		return position{}
	}
	return position{t.Position.Line, t.Position.Column}
}

// positionOf returns where a node begins. A mapping begins at its first key:
// its own token is the first colon.
func positionOf(n ast.Node) position {
	switch n := n.(type) {
	case nil:
		return position{}
	case *ast.MappingNode:
		if !n.IsFlowStyle && len(n.Values) > 0 {
			return positionOf(n.Values[0].Key)
		}
	case *ast.MappingValueNode:
		return positionOf(n.Key)
	}
	return positionOfToken(n.GetToken())
}

// source is where a record came from: its file and where its values stand.
type source struct {
	file     string
	at       map[string]position
	warnings Problems
}

// find returns where a field stands or, when it is not given, the section it
// belongs to.
func (s *source) find(field string) position {
	for field != "" {
		if at, ok := s.at[field]; ok {
			return at
		}
		field = field[:max(0, strings.LastIndexAny(field, ".["))]
	}
	return position{}
}
