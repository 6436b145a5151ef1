package rig

// house is the air with its furniture and the fabric around it.
type house struct {
	airJPerK, fabricJPerK       float64
	airOutWPerK, fabricOutWPerK float64
	airFabricWPerK              float64
	airC, fabricC               float64
}

// directShare of the loss (windows, air change) bypasses the fabric.
const directShare = 0.4

// fabricContact is how much better air and fabric touch than the house loses.
const fabricContact = 8

// newHouse splits the loss so that its steady state is exactly
// HeatLossWPerK, and starts the fabric in equilibrium.
func newHouse(h House, outdoorC float64) house {
	lossWPerK := h.HeatLossWPerK
	contactWPerK := fabricContact * lossWPerK
	throughWPerK := (1 - directShare) * lossWPerK
	s := house{
		airJPerK: h.AirMJPerK * 1e6, fabricJPerK: h.FabricMJPerK * 1e6,
		airOutWPerK:    directShare * lossWPerK,
		airFabricWPerK: contactWPerK,
		fabricOutWPerK: 1 / (1/throughWPerK - 1/contactWPerK),
		airC:           h.RoomSetC,
	}
	s.fabricC = (s.airFabricWPerK*s.airC + s.fabricOutWPerK*outdoorC) / (s.airFabricWPerK + s.fabricOutWPerK)
	return s
}

// step moves on and returns what was lost to the outdoors.
func (h *house) step(stepS, heatW, outdoorC float64) (lossW float64) {
	intoFabricW := h.airFabricWPerK * (h.airC - h.fabricC)
	airLossW := h.airOutWPerK * (h.airC - outdoorC)
	fabricLossW := h.fabricOutWPerK * (h.fabricC - outdoorC)
	h.airC += stepS * (heatW - intoFabricW - airLossW) / h.airJPerK
	h.fabricC += stepS * (intoFabricW - fabricLossW) / h.fabricJPerK
	return airLossW + fabricLossW
}

// storedJ is the heat held, above 0 °C.
func (h *house) storedJ() float64 { return h.airJPerK*h.airC + h.fabricJPerK*h.fabricC }

// dayRhythm is the share of the mean internal gain at each full hour: cooking,
// people and light; its mean is 1.
var dayRhythm = [24]float64{
	0.62, 0.58, 0.56, 0.56, 0.58, 0.66, 0.92, 1.22, 1.12, 0.94, 0.88, 0.94,
	1.12, 1.04, 0.90, 0.88, 0.98, 1.32, 1.62, 1.62, 1.48, 1.38, 1.20, 0.88,
}

// gainShare is the internal gain at a local hour of the day relative to its
// mean.
func gainShare(hourH float64) float64 {
	i := int(hourH) % 24
	a, b := dayRhythm[i], dayRhythm[(i+1)%24]
	return a + (b-a)*(hourH-float64(int(hourH)))
}
