package job

import (
	"math"
	"slices"
	"time"

	"coldweek/analysis/emitter"
	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
	"coldweek/analysis/trace"
	"coldweek/ingest"
	"coldweek/ingest/site"
)

// Emitters is what spot readings say of the rooms, and return temperatures of
// the circuits.
type Emitters struct {
	Visit    time.Time // of Rooms; zero without one
	Rooms    []emitter.Output
	Circuits *Circuits // nil: no return temperatures of circuits
}

// Circuits is how the flow divides.
type Circuits struct {
	Names      []string
	Division   emitter.Division
	HeatShare  []float64 // nil: not known
	SetShare   []float64 // of the flow as commissioned; nil: not known
	FromVisits bool      // from spot readings, not from the plant's own sensors
	Why        string    // why nothing can be told; empty otherwise
}

// spots are the readings of one visit in canonical units.
type spots struct {
	at     time.Time
	values map[ingest.Channel][]float64
}

// visitsBefore reads the visits up to a time, the latest last.
func visitsBefore(record *site.Record, to time.Time) []spots {
	var visits []spots
	for _, v := range record.Visits {
		at, err := time.Parse(time.RFC3339, v.Time)
		if err != nil || !at.Before(to) {
			continue
		}
		s := spots{at: at.In(record.Zone()), values: map[ingest.Channel][]float64{}}
		for _, reading := range v.Readings {
			unit := reading.Unit
			if unit == "" {
				unit = reading.Channel.Unit()
			}
			if value, err := unit.Convert(reading.Value, reading.Channel.Quantity()); err == nil {
				s.values[reading.Channel] = append(s.values[reading.Channel], value)
			}
		}
		visits = append(visits, s)
	}
	slices.SortFunc(visits, func(a, b spots) int { return a.at.Compare(b.at) })
	return visits
}

// mean of a channel's readings, nil of none.
func (s *spots) mean(q ingest.Quantity, place string) *float64 {
	values := s.values[ingest.NewChannel(q, place)]
	if len(values) == 0 {
		return nil
	}
	return new(sum(values) / float64(len(values)))
}

// firstOf returns the first that is known.
func firstOf(values ...*float64) *float64 {
	for _, v := range values {
		if v != nil {
			return v
		}
	}
	return nil
}

// emittersOf judges the rooms by the latest visit that read any, and the
// circuits by all visits.
func emittersOf(record *site.Record, s *siteday.Sums, to time.Time) Emitters {
	var e Emitters
	visits := visitsBefore(record, to)
	for _, visit := range slices.Backward(visits) {
		if rooms := roomsOf(record, s, &visit); len(rooms) > 0 {
			e.Visit, e.Rooms = visit.at, emitter.Outputs(rooms, designOutdoorOf(record))
			break
		}
	}
	e.Circuits = visitedCircuits(record, visits)
	return e
}

func designOutdoorOf(record *site.Record) *float64 {
	if record.Design == nil {
		return nil
	}
	return record.Design.OutdoorTempC
}

// roomsOf are the rooms of which a visit read a temperature of room or floor.
// What it did not read beside them is taken from the plant's own sensors.
func roomsOf(record *site.Record, s *siteday.Sums, visit *spots) []emitter.Room {
	if record.Emitters == nil {
		return nil
	}
	own := ownAt(s, visit.at)
	var rooms []emitter.Room
	for i := range record.Emitters.Rooms {
		given := &record.Emitters.Rooms[i]
		surfaceC := visit.values[ingest.NewChannel(ingest.FloorTemp, given.Place)]
		roomC := visit.mean(ingest.RoomTemp, given.Place)
		if roomC == nil && len(surfaceC) == 0 {
			continue
		}
		room := roomOf(given)
		room.DesignRoomC = given.SetTempC
		if room.DesignRoomC == nil && record.Design != nil {
			room.DesignRoomC = record.Design.RoomTempC
		}
		room.Spots = emitter.Spots{
			RoomC: roomC, SurfaceC: surfaceC,
			OutdoorC: firstOf(visit.mean(ingest.OutdoorTemp, ""), own.outdoorC),
			FlowC:    firstOf(visit.mean(ingest.FlowTemp, given.Place), visit.mean(ingest.FlowTemp, given.Circuit), visit.mean(ingest.FlowTemp, ""), own.flowC),
			ReturnC:  firstOf(visit.mean(ingest.ReturnTemp, given.Place), visit.mean(ingest.ReturnTemp, given.Circuit), visit.mean(ingest.ReturnTemp, ""), own.returnC),
		}
		rooms = append(rooms, room)
	}
	return rooms
}

// own are the plant's own sensors in the hour of a visit.
type own struct{ outdoorC, flowC, returnC *float64 }

func ownAt(s *siteday.Sums, at time.Time) own {
	for i := range s.Hours {
		if h := &s.Hours[i]; !at.Before(h.From) && at.Before(h.From.Add(time.Hour)) {
			return own{meanOf(h.Outdoor), meanOf(h.Steady.Flow), meanOf(h.Steady.Return)}
		}
	}
	return own{}
}

// visitedCircuits divides the flow by spot readings of every circuit's return
// and of the return where they have mixed; nil where no visit read these.
func visitedCircuits(record *site.Record, visits []spots) *Circuits {
	c := &Circuits{FromVisits: true}
	var times []emitter.Returns
	var flowC []float64
	for _, visit := range slices.Backward(visits) {
		mixedC := visit.mean(ingest.ReturnTemp, "")
		names := visit.circuits()
		if mixedC == nil || len(names) < 2 || c.Names != nil && !slices.Equal(names, c.Names) {
			continue
		}
		c.Names = names
		at := emitter.Returns{MixedC: *mixedC}
		for _, name := range names {
			at.CircuitC = append(at.CircuitC, *visit.mean(ingest.ReturnTemp, name))
		}
		times = append(times, at)
		if f := visit.mean(ingest.FlowTemp, ""); f != nil {
			flowC = append(flowC, *f)
		}
	}
	if c.Names == nil {
		return nil
	}
	c.divide(record, times, flowC)
	return c
}

// circuits are the places whose return was read, in order.
func (s *spots) circuits() []string {
	var names []string
	for ch := range s.values {
		if ch.Quantity() == ingest.ReturnTemp && ch.Place() != "" {
			names = append(names, ch.Place())
		}
	}
	slices.Sort(names)
	return names
}

// divide fills in shares, or why there are none. Flow temperatures count where
// every time has one.
func (c *Circuits) divide(record *site.Record, times []emitter.Returns, flowC []float64) {
	division, err := emitter.Divide(times, emitter.SensorDoubtK)
	if err != nil {
		c.Why = err.Error()
		return
	}
	c.Division, c.SetShare = division, commissionedShares(record, c.Names)
	if len(flowC) != len(times) {
		return
	}
	returnC := make([]float64, len(c.Names))
	for i := range returnC {
		for _, at := range times {
			returnC[i] += at.CircuitC[i] / float64(len(times))
		}
	}
	c.HeatShare = division.HeatShares(sum(flowC)/float64(len(flowC)), returnC)
}

// commissionedShares are the circuits' shares as commissioned, nil where one is
// not known.
func commissionedShares(record *site.Record, names []string) []float64 {
	if record.Commissioned == nil {
		return nil
	}
	shares, totalLPH := make([]float64, len(names)), 0.0
	for i, name := range names {
		for _, circuit := range record.Commissioned.Circuits {
			if circuit.Name == name {
				shares[i] = circuit.FlowRateLPH
			}
		}
		if shares[i] <= 0 {
			return nil
		}
		totalLPH += shares[i]
	}
	for i := range shares {
		shares[i] /= totalLPH
	}
	return shares
}

// Circuits seen by the plant's own sensors: means over so long, of the last days
// of the span, in settled heating.
const (
	circuitDays  = 2
	circuitMeanS = 1800
)

// circuitsWanted says whether channels tell how the flow divides.
func circuitsWanted(channels []ingest.Channel) bool {
	placed := 0
	for _, ch := range channels {
		if ch.Quantity() == ingest.ReturnTemp && ch.Place() != "" {
			placed++
		}
	}
	return placed >= 2 && slices.Contains(channels, ingest.Channel(ingest.ReturnTemp))
}

// watchedCircuits divides the flow by return sensors of the circuits; nil without
// settled heating.
func watchedCircuits(record *site.Record, t *trace.Trace, op *operation.Operation) *Circuits {
	c := &Circuits{}
	var columns [][]float64
	for _, ch := range t.Channels(ingest.ReturnTemp) {
		if ch.Place() != "" {
			c.Names, columns = append(c.Names, ch.Place()), append(columns, t.Mean(ch))
		}
	}
	means := circuitMeans{columns: append(columns, t.ReturnC, t.FlowC)}
	siteday.Settled(t.DurS, op, 0, t.Len(), func(i int) { means.add(i, t.DurS[i]) })
	if len(c.Names) < 2 || len(means.times) == 0 {
		return nil
	}
	c.divide(record, means.times, means.flowC)
	return c
}

// circuitMeans gathers means of columns: the circuits', the mixed return's and
// the flow's.
type circuitMeans struct {
	columns [][]float64
	sums    []float64
	s       float64
	times   []emitter.Returns
	flowC   []float64
}

func (m *circuitMeans) add(i int, durS float64) {
	if m.sums == nil {
		m.sums = make([]float64, len(m.columns))
	}
	for _, column := range m.columns {
		if column == nil || math.IsNaN(column[i]) {
			return
		}
	}
	for k, column := range m.columns {
		m.sums[k] += column[i] * durS
	}
	if m.s += durS; m.s < circuitMeanS {
		return
	}
	n := len(m.columns)
	at := emitter.Returns{MixedC: m.sums[n-2] / m.s}
	for _, v := range m.sums[:n-2] {
		at.CircuitC = append(at.CircuitC, v/m.s)
	}
	m.times, m.flowC = append(m.times, at), append(m.flowC, m.sums[n-1]/m.s)
	m.sums, m.s = nil, 0
}
