package store

import (
	"fmt"
	"math"

	"coldweek/ingest"
)

// Readings of years beyond these cannot be kept: their times have no RFC 3339
// form.
const FirstYear, LastYear = 0, 9999

// CheckReading says why a reading can never be kept; the error wraps ErrReading.
func CheckReading(r ingest.Reading) error {
	if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
		return fmt.Errorf("%w: %s of %q is %g; only finite values can be kept", ErrReading, r.Channel, r.Site, r.Value)
	}
	if year := r.Time.UTC().Year(); year < FirstYear || year > LastYear {
		return fmt.Errorf("%w: %s of %q is of the year %d; years %d to %d can be kept",
			ErrReading, r.Channel, r.Site, year, FirstYear, LastYear)
	}
	if r.Site == "" || r.Channel == "" {
		return fmt.Errorf("%w: site %q, channel %q: both need a name", ErrReading, r.Site, r.Channel)
	}
	return nil
}
