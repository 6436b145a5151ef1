package web

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strings"

	"coldweek/dashboards/chart"
)

//go:embed static/*
var staticFiles embed.FS

//go:embed templates/*.html
var templateFiles embed.FS

// asset is a file that pages refer to.
type asset struct {
	contentType string
	body        []byte
	version     string // digest of the body
}

// assets are the files below /static/, by name.
type assets map[string]asset

func loadAssets() (assets, error) {
	entries, err := fs.ReadDir(staticFiles, "static")
	if err != nil {
		return nil, fmt.Errorf("read static files: %w", err)
	}
	all := assets{}
	for _, e := range entries {
		body, err := staticFiles.ReadFile(path.Join("static", e.Name()))
		if err != nil {
			return nil, fmt.Errorf("read static files: %w", err)
		}
		if path.Ext(e.Name()) == ".css" {
			// The charts' own sheet comes first: it holds the palette.
			body = append([]byte(chart.CSS()), body...)
		}
		digest := sha256.Sum256(body)
		all[e.Name()] = asset{mime.TypeByExtension(path.Ext(e.Name())), body, hex.EncodeToString(digest[:6])}
	}
	return all, nil
}

// address returns where a page finds an asset. It changes with the content, so
// that browsers may keep it.
func (a assets) address(name string) string { return "/static/" + name + "?v=" + a[name].version }

// ServeHTTP serves the asset of the path's name.
func (a assets) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	file, ok := a[r.PathValue("name")]
	if !ok {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Content-Type", file.contentType)
	w.Header().Set("Cache-Control", "no-cache")
	if r.URL.Query().Get("v") == file.version {
		w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	}
	// An error here means that the asker has gone.
	_, _ = w.Write(file.body)
}

// templates are the pages' templates by name, each with the frame and the
// parts that pages share.
type templates map[string]*template.Template

// shared are the files that every page includes.
var shared = []string{"templates/frame.html", "templates/parts.html"}

func parseTemplates() (templates, error) {
	base, err := template.New("base").Funcs(template.FuncMap{"upper": upperFirst}).ParseFS(templateFiles, shared...)
	if err != nil {
		return nil, fmt.Errorf("parse templates: %w", err)
	}
	files, err := fs.Glob(templateFiles, "templates/*.html")
	if err != nil {
		return nil, fmt.Errorf("parse templates: %w", err)
	}
	all := templates{}
	for _, file := range files {
		t, err := base.Clone()
		if err == nil {
			t, err = t.ParseFS(templateFiles, file)
		}
		if err != nil {
			return nil, fmt.Errorf("parse templates: %w", err)
		}
		all[strings.TrimSuffix(path.Base(file), ".html")] = t
	}
	return all, nil
}
