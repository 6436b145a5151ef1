package heatloss

// Options say what the fit is held against. Nil is not known.
type Options struct {
	OutdoorC, RoomC *float64 // design temperatures
	DesignW         *float64 // design heat loss

	// What the heat meter leaves in doubt, 95 % limits: ScaleRatio, a share of the
	// heat, and PairK, a constant error of flow minus return.
	ScaleRatio, PairK float64
	// BackupUnseen: the heat meter does not see the backup heater, whose own
	// electricity meter then counts as heat.
	BackupUnseen bool

	Rules Rules // zero fields mean those of Usual
}

// Rules are how much data is enough. Common practice, no single source, but
// where a source is named.
type Rules struct {
	Coverage    float64 // of a day with known heat
	FewestDays  int     // for any figure
	VerdictDays int     // for a verdict
	// SignatureDays are from when the signature is quoted and may choose its terms.
	SignatureDays int
	// LineDays and LineSpanK make a line trustworthy, ChangeDays and WarmDays a
	// base temperature; less is told.
	LineDays             int
	LineSpanK            float64
	ChangeDays, WarmDays int
	SideDays             int     // at least, on each side of a base temperature
	BeyondK              float64 // beyond the coldest day
	SetBackK             float64 // below the usual room temperature
	OddRatio             float64 // of the usual heat; and OddDeviations of the spread
	OddDeviations        float64

	// DailyCV is the limit for daily values; ASHRAE Guideline 14 has 15 % for
	// months and 30 % for hours, none for days.
	DailyCV float64
	// Tolerance is how far from the design a house may be and still be as
	// designed: in-use heat loss of one house varies by some 10 %, and a survey
	// is no better.
	Tolerance float64
	// WidestRatio is the half interval, as a share of the design, up to which
	// "as designed" can be said.
	WidestRatio float64
}

// Usual are the rules where none are given.
func Usual() Rules {
	return Rules{
		Coverage: 0.9, FewestDays: 5, VerdictDays: 7, SignatureDays: 14,
		LineDays: 30, LineSpanK: 8, ChangeDays: 60, WarmDays: 10, SideDays: 5,
		BeyondK: 5, SetBackK: 1, OddRatio: 0.12, OddDeviations: 4,
		DailyCV: 0.25, Tolerance: 0.1, WidestRatio: 0.2,
	}
}

// filled puts the usual where nothing is given.
func (r Rules) filled() Rules {
	u := Usual()
	for _, f := range []struct {
		given *float64
		usual float64
	}{
		{&r.Coverage, u.Coverage}, {&r.LineSpanK, u.LineSpanK}, {&r.BeyondK, u.BeyondK}, {&r.SetBackK, u.SetBackK},
		{&r.OddRatio, u.OddRatio}, {&r.OddDeviations, u.OddDeviations}, {&r.DailyCV, u.DailyCV},
		{&r.Tolerance, u.Tolerance}, {&r.WidestRatio, u.WidestRatio},
	} {
		if *f.given == 0 {
			*f.given = f.usual
		}
	}
	for _, f := range []struct {
		given *int
		usual int
	}{
		{&r.FewestDays, u.FewestDays}, {&r.VerdictDays, u.VerdictDays}, {&r.SignatureDays, u.SignatureDays},
		{&r.LineDays, u.LineDays}, {&r.ChangeDays, u.ChangeDays}, {&r.WarmDays, u.WarmDays}, {&r.SideDays, u.SideDays},
	} {
		if *f.given == 0 {
			*f.given = f.usual
		}
	}
	return r
}
