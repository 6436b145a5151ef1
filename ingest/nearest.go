package ingest

import "github.com/agnivade/levenshtein"

// Nearest returns the word of the list with the smallest edit distance to s,
// for "did you mean" in errors. It returns "" for an empty list.
func Nearest(s string, words []string) string {
	best, bestDistance := "", int(^uint(0)>>1)
	for _, w := range words {
		if d := levenshtein.ComputeDistance(s, w); d < bestDistance {
			best, bestDistance = w, d
		}
	}
	return best
}

func nearestQuantity(s string) string {
	all := Quantities()
	words := make([]string, len(all))
	for i, q := range all {
		words[i] = string(q)
	}
	return Nearest(s, words)
}
