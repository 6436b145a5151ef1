package review

import "fmt"

// WeekDays are the days of a review where none are asked for.
const WeekDays = 7

// Coldest finds the WeekDays days in a row with the lowest mean outdoor temperature
// among days given in order, without a hole, each by its mean or nil where it is not
// known: of the weeks known best. It returns the first of them; with less than a week
// of days, 0.
func Coldest(daysC []*float64) int {
	first, bestKnown, bestC := 0, 0, 0.0
	for i := 0; i+WeekDays <= len(daysC); i++ {
		known, sumC := 0, 0.0
		for _, c := range daysC[i : i+WeekDays] {
			if c != nil {
				known, sumC = known+1, sumC+*c
			}
		}
		if known == 0 {
			continue
		}
		if meanC := sumC / float64(known); known > bestKnown || known == bestKnown && meanC < bestC {
			first, bestKnown, bestC = i, known, meanC
		}
	}
	return first
}

// WhyColdest says how the days came to be chosen, of so many.
func WhyColdest(of int) string {
	switch {
	case of == 1:
		return "the only whole day stored so far"
	case of <= WeekDays:
		return fmt.Sprintf("all %d whole days stored so far", of)
	}
	return fmt.Sprintf("the coldest seven days in a row of the last %d stored", of)
}
