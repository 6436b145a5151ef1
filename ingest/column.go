package ingest

// Column is the readings of one channel in ascending time, at most one a
// millisecond. UnixMS and Value have the same length; values are finite and in
// the channel's canonical unit.
type Column struct {
	Channel Channel
	UnixMS  []int64
	Value   []float64
}

// Len returns the number of readings.
func (c Column) Len() int { return len(c.UnixMS) }
