package main

import (
	"os"
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"
)

// progress draws a bar on standard error while it is a terminal.
type progress struct {
	mu      sync.Mutex
	bar     *progressbar.ProgressBar
	options []progressbar.Option
	visible bool
}

func (a *app) progress(label string, more ...progressbar.Option) *progress {
	file, ok := a.err.(*os.File)
	return &progress{
		visible: ok && term.IsTerminal(int(file.Fd())),
		options: append([]progressbar.Option{
			progressbar.OptionSetWriter(a.err), progressbar.OptionSetDescription(label), progressbar.OptionShowCount(),
			progressbar.OptionSetPredictTime(true), progressbar.OptionThrottle(100 * time.Millisecond), progressbar.OptionClearOnFinish(),
		}, more...),
	}
}

// set moves the bar; the first call fixes its length.
func (p *progress) set(done, total int64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.visible {
		return
	}
	if p.bar == nil {
		p.bar = progressbar.NewOptions64(total, p.options...)
	}
	// The bar is a nicety: a closed terminal must not stop the work.
	_ = p.bar.Set64(done)
}

// step is a job.Progress.
func (p *progress) step(done, total int) { p.set(int64(done), int64(total)) }

func (p *progress) done() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.bar != nil {
		_ = p.bar.Finish()
	}
}
