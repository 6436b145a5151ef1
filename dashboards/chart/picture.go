package chart

// Picture returns an SVG of whatever is drawn: the size is its extent, the id is
// unique on its page, and title and description tell it to who cannot see it.
func Picture(size Size, id, title, description string, draw func(Canvas)) []byte {
	s := newSVG(size, caption{id, title, description})
	draw(s)
	return s.bytes()
}
