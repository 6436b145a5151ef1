package payload

import (
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"github.com/valyala/fastjson"
)

// Pointer is a parsed RFC 6901 JSON Pointer: its reference tokens, unescaped.
// The empty pointer is the whole document.
type Pointer []string

// ParsePointer reads a JSON Pointer in its string form ("/a/b") or, told by
// its #, in its URI fragment form ("#/a/b"), of which "#" alone is the whole
// document.
func ParsePointer(s string) (Pointer, error) {
	text := s
	if fragment, ok := strings.CutPrefix(s, "#"); ok {
		decoded, err := url.PathUnescape(fragment)
		if err != nil {
			return nil, fmt.Errorf("pointer %q: %w", s, err)
		}
		text = decoded
	}
	if text == "" {
		return Pointer{}, nil
	}
	if text[0] != '/' {
		return nil, fmt.Errorf("pointer %q does not start with a slash; write %q (RFC 6901)", s, "/"+text)
	}
	tokens := strings.Split(text[1:], "/")
	for i, token := range tokens {
		unescaped, err := unescapeToken(token)
		if err != nil {
			return nil, fmt.Errorf("pointer %q: %w", s, err)
		}
		tokens[i] = unescaped
	}
	return tokens, nil
}

// unescapeToken undoes ~1 before ~0, as RFC 6901 section 4 asks.
func unescapeToken(token string) (string, error) {
	for i := 0; i < len(token); i++ {
		if token[i] != '~' {
			continue
		}
		if i+1 == len(token) || token[i+1] != '0' && token[i+1] != '1' {
			return "", fmt.Errorf("~ in %q must be written ~0, and / inside a name ~1 (RFC 6901)", token)
		}
	}
	return strings.ReplaceAll(strings.ReplaceAll(token, "~1", "/"), "~0", "~"), nil
}

// String returns the pointer in its string form.
func (p Pointer) String() string {
	var b strings.Builder
	for _, token := range p {
		b.WriteByte('/')
		b.WriteString(strings.ReplaceAll(strings.ReplaceAll(token, "~", "~0"), "/", "~1"))
	}
	return b.String()
}

// find returns the value the pointer leads to, or nil.
func (p Pointer) find(v *fastjson.Value) *fastjson.Value {
	for _, token := range p {
		if v == nil {
			return nil
		}
		v = step(v, token)
	}
	return v
}

func step(v *fastjson.Value, token string) *fastjson.Value {
	switch v.Type() {
	case fastjson.TypeObject:
		return v.GetObject().Get(token)
	case fastjson.TypeArray:
		elements := v.GetArray()
		if i, ok := arrayIndex(token); ok && i < len(elements) {
			return elements[i]
		}
	}
	return nil
}

// arrayIndex reads "0" or digits without a leading zero; "-" is the element
// behind the last, which never exists (RFC 6901 section 4).
func arrayIndex(token string) (int, bool) {
	if token == "" || len(token) > 1 && token[0] == '0' || strings.Trim(token, "0123456789") != "" {
		return 0, false
	}
	i, err := strconv.Atoi(token)
	return i, err == nil
}
