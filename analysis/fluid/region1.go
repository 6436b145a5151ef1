package fluid

import "math"

// The constants of IAPWS R7-97(2012): section 2 and, for region 1, section 5.1.
const (
	gasConstantJKgK  = 461.526
	region1Pa        = 16.53e6
	region1K         = 1386.0
	region1Pressure  = 7.1   // shift of p/p*
	region1InverseT  = 1.222 // shift of T*/T
	celsiusToKelvinK = 273.15
)

// region1Terms is Table 2 of IAPWS R7-97(2012): the exponents of pressure and
// temperature and the coefficient of each term of the Gibbs free energy.
var region1Terms = [34]struct{ i, j, n float64 }{
	{0, -2, 0.14632971213167}, {0, -1, -0.84548187169114},
	{0, 0, -3.7563603672040}, {0, 1, 3.3855169168385},
	{0, 2, -0.95791963387872}, {0, 3, 0.15772038513228},
	{0, 4, -0.16616417199501e-1}, {0, 5, 0.81214629983568e-3},
	{1, -9, 0.28319080123804e-3}, {1, -7, -0.60706301565874e-3},
	{1, -1, -0.18990068218419e-1}, {1, 0, -0.32529748770505e-1},
	{1, 1, -0.21841717175414e-1}, {1, 3, -0.52838357969930e-4},
	{2, -3, -0.47184321073267e-3}, {2, 0, -0.30001780793026e-3},
	{2, 1, 0.47661393906987e-4}, {2, 3, -0.44141845330846e-5},
	{2, 17, -0.72694996297594e-15}, {3, -4, -0.31679644845054e-4},
	{3, 0, -0.28270797985312e-5}, {3, 6, -0.85205128120103e-9},
	{4, -5, -0.22425281908000e-5}, {4, -2, -0.65171222895601e-6},
	{4, 10, -0.14341729937924e-12}, {5, -8, -0.40516996860117e-6},
	{8, -11, -0.12734301741641e-8}, {8, -6, -0.17424871230634e-9},
	{21, -29, -0.68762131295531e-18}, {23, -31, 0.14478307828521e-19},
	{29, -38, 0.26335781662795e-22}, {30, -39, -0.11947622640071e-22},
	{31, -40, 0.18228094581404e-23}, {32, -41, -0.93537087292458e-25},
}

// power is factor·x^exponent.
type power struct{ exponent, factor float64 }

// region1 is liquid water at one pressure. At a fixed pressure the Gibbs free
// energy and each of its derivatives is a sum of powers of T*/T - 1.222.
type region1 struct {
	slopeP  []power // derivative by pressure
	slopeT  []power // derivative by inverse temperature
	slopeTT []power // second derivative by inverse temperature
}

func newRegion1(pressurePa float64) *region1 {
	w := &region1{}
	x := region1Pressure - pressurePa/region1Pa
	for _, t := range region1Terms {
		atPressure := t.n * math.Pow(x, t.i)
		if t.i != 0 {
			w.slopeP = append(w.slopeP, power{t.j, -t.n * t.i * math.Pow(x, t.i-1)})
		}
		w.slopeT = append(w.slopeT, power{t.j - 1, atPressure * t.j})
		w.slopeTT = append(w.slopeTT, power{t.j - 2, atPressure * t.j * (t.j - 1)})
	}
	return w
}

// sum evaluates powers at an absolute temperature.
func sum(powers []power, tempK float64) float64 {
	x := region1K/tempK - region1InverseT
	total := 0.0
	for _, p := range powers {
		total += p.factor * math.Pow(x, p.exponent)
	}
	return total
}

func (w *region1) densityKgM3(tempC float64) float64 {
	tempK := tempC + celsiusToKelvinK
	return region1Pa / (gasConstantJKgK * tempK * sum(w.slopeP, tempK))
}

func (w *region1) enthalpyJKg(tempC float64) float64 {
	return gasConstantJKgK * region1K * sum(w.slopeT, tempC+celsiusToKelvinK)
}

func (w *region1) heatCapacityJKgK(tempC float64) float64 {
	tempK := tempC + celsiusToKelvinK
	inverseT := region1K / tempK
	return -gasConstantJKgK * inverseT * inverseT * sum(w.slopeTT, tempK)
}

func (w *region1) viscosityPaS(tempC float64) float64 {
	return waterViscosityPaS(tempC+celsiusToKelvinK, w.densityKgM3(tempC))
}
