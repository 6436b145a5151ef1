package pipework

// Verdict says whether the system runs without separation.
type Verdict string

// The verdicts.
const (
	Runs     Verdict = "runs"
	DoesNot  Verdict = "does_not"
	NotKnown Verdict = "not_known"
)

// Result is what an engineer needs to know of a system. Pointers are nil where
// the answer is not known.
type Result struct {
	Site    string  `json:"site"`
	Verdict Verdict `json:"verdict"`
	Why     string  `json:"why"`

	LoadKW      float64 `json:"load_kw"`
	FlowLPH     float64 `json:"flow_lph"`
	FlowTempC   float64 `json:"flow_temp_c"`
	DifferenceK float64 `json:"flow_return_difference_k"` // of all consumers together, at FlowLPH
	Fluid       string  `json:"fluid"`

	IndexLegs    []string `json:"index_circuit"` // from the heat pump outwards
	IndexLossKPa float64  `json:"index_loss_kpa"`
	PumpSetting  string   `json:"pump_setting,omitempty"`
	HeadKPa      *float64 `json:"head_kpa"`  // left at FlowLPH
	SpareKPa     *float64 `json:"spare_kpa"` // head less loss; below 0 it is short of that much

	// LargestLoadKW is what runs at most at the same differences; more than
	// that may run where LargestIsAtLeast.
	LargestLoadKW    *float64 `json:"largest_load_kw"`
	LargestIsAtLeast bool     `json:"largest_load_is_at_least"`
	// WorkingPoint is the pump's with the index circuit open and the others
	// balanced to it: the flow at the largest load.
	WorkingPoint *PumpPoint `json:"working_point"`
	// OpenPoint is the pump's with every valve open.
	OpenPoint *PumpPoint `json:"open_point"`
	OpenWhy   string     `json:"open_why,omitempty"` // why it is not known
	// DivisionWhy says why LegResult.OpenFlowLPH is not known.
	DivisionWhy string `json:"division_why,omitempty"`

	Legs     []LegResult `json:"legs"`
	Options  []Option    `json:"options"`
	Remarks  []string    `json:"remarks"`
	Cautions []string    `json:"cautions"`
	Assumed  []string    `json:"assumed"`
}

// LegResult is one leg at the needed flow. Velocity, Reynolds number and
// friction by metre are of one of its pairs.
type LegResult struct {
	Name           string   `json:"name"`
	Parent         *string  `json:"parent"` // nil at the heat pump
	Depth          int      `json:"depth"`
	Material       string   `json:"material"`
	Size           string   `json:"size"`
	LengthM        float64  `json:"length_m"`
	Parallel       int      `json:"parallel"`
	LoadKW         float64  `json:"load_kw"`
	FlowLPH        float64  `json:"flow_lph"`
	PairFlowLPH    float64  `json:"pair_flow_lph"` // of each of its pairs or loops
	Setter         *Setter  `json:"flow_setter"`   // as it is set, of each pair or loop
	VelocityMPerS  float64  `json:"velocity_m_per_s"`
	Reynolds       float64  `json:"reynolds"`
	LossPaPerM     float64  `json:"friction_pa_per_m"`
	FrictionKPa    float64  `json:"friction_kpa"`
	FittingsKPa    float64  `json:"fittings_kpa"`
	SetterKPa      float64  `json:"setter_kpa"`
	LossKPa        float64  `json:"loss_kpa"`
	CircuitLossKPa float64  `json:"circuit_loss_kpa"` // from the heat pump to its end
	OnIndex        bool     `json:"on_index_circuit"`
	BalanceKPa     *float64 `json:"balance_kpa"`   // to be taken by a valve, of legs that serve something
	OpenFlowLPH    *float64 `json:"open_flow_lph"` // its part of FlowLPH with every valve open
}

// Option is a change with which the system runs, the doubt of its loss counted
// in.
type Option struct {
	Change       string  `json:"change"`
	FlowLPH      float64 `json:"flow_lph"`
	IndexLossKPa float64 `json:"index_loss_kpa"`
	SpareKPa     float64 `json:"spare_kpa"`
}

// Design works the system out.
func (s *System) Design() *Result {
	factor := s.factor()
	w := s.at(factor)
	r := &Result{
		Site: s.Site, FlowLPH: w.totalLPH, FlowTempC: s.FlowTempC, DifferenceK: s.differenceK(factor), Fluid: s.FluidName,
		IndexLossKPa: w.indexPa() / 1000, PumpSetting: s.Setting, IndexLegs: []string{}, Options: []Option{}, Remarks: []string{},
		Cautions: cautions(), Assumed: append([]string{}, s.Assumed...),
	}
	for i := range s.Legs {
		r.LoadKW += s.Legs[i].LoadKW
	}
	s.judge(r, w)
	division := s.divisionFor(r)
	s.tellLegs(r, w, division)
	if r.Verdict == DoesNot {
		r.Options = s.options()
	}
	r.Remarks = append(r.Remarks, s.remarks(r, w, division)...)
	return r
}

// factor is 1, or more where the maker wants more flow than the load needs.
func (s *System) factor() float64 {
	totalLPH := s.at(1).totalLPH
	if totalLPH == 0 {
		return 1
	}
	return max(1, s.MinimumFlowLPH/totalLPH)
}

// differenceK is what the consumers' differences mix to.
func (s *System) differenceK(factor float64) float64 {
	sumLPH, sumLPHK := 0.0, 0.0
	for i := range s.Legs {
		sumLPH += s.Legs[i].FlowLPH
		sumLPHK += s.Legs[i].FlowLPH * s.Legs[i].DifferenceK
	}
	if sumLPH == 0 {
		return 0
	}
	return sumLPHK / sumLPH / factor
}

// divisionFor solves for the open system where that can be done: the pump's
// working point, and how the needed flow divides.
func (s *System) divisionFor(r *Result) *Division {
	if driven, err := s.Divide(); err != nil {
		r.OpenWhy = err.Error()
	} else {
		r.OpenPoint = &PumpPoint{driven.FlowLPH, driven.HeadKPa}
	}
	if len(s.Missing) > 0 || r.FlowLPH == 0 {
		r.DivisionWhy = "the flow needed is not known"
		return nil
	}
	divided, err := s.DivideFlow(r.FlowLPH)
	if err != nil {
		r.DivisionWhy = err.Error()
		return nil
	}
	return divided
}

func (s *System) tellLegs(r *Result, w *working, division *Division) {
	loads := s.loadsKW()
	for i := range s.Legs {
		r.Legs = append(r.Legs, s.tellLeg(i, w, loads[i]))
		if division != nil {
			r.Legs[i].OpenFlowLPH = new(division.FlowsLPH[i])
		}
		if parent := s.Legs[i].Parent; parent != AtHeatPump {
			r.Legs[i].Parent = new(s.Legs[parent].Name)
			r.Legs[i].Depth = r.Legs[parent].Depth + 1
		}
	}
	for _, i := range s.path(w.index) {
		r.Legs[i].OnIndex = true
		r.IndexLegs = append(r.IndexLegs, s.Legs[i].Name)
	}
}

func (s *System) tellLeg(i int, w *working, loadKW float64) LegResult {
	leg, loss := &s.Legs[i], w.losses[i]
	told := LegResult{
		Name: leg.Name, Material: leg.Material, Size: leg.Size, LengthM: leg.LengthM, Parallel: leg.Parallel, LoadKW: loadKW,
		FlowLPH: w.flowsLPH[i], PairFlowLPH: w.flowsLPH[i] / float64(leg.Parallel), Setter: leg.Setter, VelocityMPerS: loss.VelocityMPerS, Reynolds: loss.Reynolds, LossPaPerM: loss.LossPaPerM,
		FrictionKPa: loss.FrictionPa / 1000, FittingsKPa: loss.FittingsPa / 1000, SetterKPa: loss.SetterPa / 1000,
		LossKPa: loss.TotalPa() / 1000, CircuitLossKPa: w.circuitPa[i] / 1000,
	}
	if leg.FlowLPH > 0 {
		told.BalanceKPa = new((w.indexPa() - w.circuitPa[i]) / 1000)
	}
	return told
}
