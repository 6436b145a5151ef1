package fluid

// surface is a property by temperature (rows, powers of T - baseK) and
// fraction of glycol (columns, powers of x - base).
type surface [4][6]float64

// correlation is one source's mixture of one glycol with water. Viscosity is
// the exponential of its surface; freezing is a row in kelvin, or the logarithm
// of it. base and the columns count the fraction from 0 to 1.
type correlation struct {
	source              string
	baseK               float64
	base                float64
	minimumPct          float64 // of the source's data
	maximumPct          float64
	densityKgM3         surface
	heatCapacityJKgK    surface
	logViscosity        surface
	freezing            [6]float64
	freezingIsLogarithm bool
}

// maximumMixtureC is where the data of both sources end.
const maximumMixtureC = 100

// freezingErrorK is how far the fitted freezing points are from the tabulated
// ones; a mixture counts as liquid down to that far below its freezing point.
const freezingErrorK = 0.15

// correlations are the mixtures by glycol and basis. The coefficients are those
// of the data files in dev/incompressible_liquids of CoolProp, commit ea27c639
// (APG, AEG, MPG, MEG). For volume they were fitted there to the tables of the
// ASHRAE Handbook Fundamentals 2001 as collected in SecCool: up to 40 % within
// 0.06 kg/m³, 0.6 J/(kg·K), 5 % of viscosity and 0.15 K of freezing point. For
// mass they are Melinder's own; his data of propylene glycol begin at 15 %.
var correlations = map[Kind]map[Basis]*correlation{
	PropyleneGlycol: {
		ByVolume: {
			source: "ASHRAE 2001", baseK: 305.65, base: 0.35, minimumPct: 10, maximumPct: 60,
			densityKgM3: surface{
				{1026.177, 72.53677, -65.32547, 34.66575, -15.82785, -213.9879},
				{-0.5350059, -0.5056296, 0.1751278, -0.092333, 0.02877433, 0},
				{-0.002566157, -0.0001703579, 0.001165892, -0.000207517, 0, 0},
				{-5.177362e-09, 9.673215e-09, 3.368862e-07, 0, 0, 0},
			},
			heatCapacityJKgK: surface{
				{3815.392, -1391.877, -1121.4, -419.3939, -243.53, 4054.145},
				{3.025751, 5.558605, -0.1073388, 0.5290725, -2.262081, 0},
				{4.165345e-05, -9.03207e-05, -0.003392169, 0.01079472, 0, 0},
				{-4.309483e-07, -1.33518e-06, 3.538903e-05, 0, 0, 0},
			},
			logViscosity: surface{
				{-6.025825, 3.573663, -1.995205, -6.42511, 36.01949, 53.50879},
				{-0.03284399, -0.03838339, 0.08223532, 0.01520795, -1.123741, 0},
				{0.0002492009, 0.0003529886, -0.0005119547, -0.0006572286, 0, 0},
				{-1.155771e-06, -1.216539e-06, 3.230125e-06, 0, 0, 0},
			},
			freezing:            [6]float64{5.546103, -0.326277, -0.6666873, -0.8800598, -1.071417, -1.875782},
			freezingIsLogarithm: true,
		},
		ByMass: {
			source: "Melinder 2010", baseK: 305.8583, base: 0.307031, minimumPct: 15, maximumPct: 57,
			densityKgM3: surface{
				{1018.0, 76.04, -24.98, -155.0, -113.1, 234.2},
				{-0.5406, -0.945, 0.27, 2.829, -2.221, 0},
				{-0.002666, 0.005541, -0.004018, -0.007175, 0, 0},
				{1.347e-05, -1.343e-05, 3.376e-05, 0, 0, 0},
			},
			heatCapacityJKgK: surface{
				{3882.0, -1304.0, -1598.0, 353.9, 5000.0, -4959.0},
				{2.699, 5.07, 0.9534, 31.02, -71.35, 0},
				{-0.001659, -0.004752, 0.1167, -0.295, 0, 0},
				{-1.032e-05, 0.0001522, -0.000487, 0, 0, 0},
			},
			logViscosity: surface{
				{-6.224055, 3.328, 0.5453, -3.9, -1.587, 35.64},
				{-0.03045, -0.03984, -0.00086, 0.1054, 0.04475, 0},
				{0.0002525, 0.0004332, -0.0001593, -0.001589, 0, 0},
				{-1.399e-06, -1.86e-06, -4.465e-07, 0, 0, 0},
			},
			freezing: [6]float64{259.9, -66.31, -109.4, -228.3, -340.9, 146.5},
		},
	},
	EthyleneGlycol: {
		ByVolume: {
			source: "ASHRAE 2001", baseK: 305.65, base: 0.35, minimumPct: 10, maximumPct: 60,
			densityKgM3: surface{
				{1047.337, 140.4485, -48.70559, 71.41693, 52.4585, -693.3962},
				{-0.4505054, -0.3001582, -0.03952614, 0.02496264, -0.06817576, 0},
				{-0.002432696, -2.084384e-05, 0.0003108353, -0.0008979712, 0, 0},
				{-3.72545e-09, 1.044784e-06, -4.391164e-06, 0, 0, 0},
			},
			heatCapacityJKgK: surface{
				{3596.551, -1707.073, -444.7538, -552.7923, -715.9059, 7905.301},
				{3.096886, 5.184379, -0.7061384, 0.7949891, -0.6689394, 0},
				{-3.388642e-05, 0.0003639717, 0.0009169943, -0.005359818, 0, 0},
				{3.171299e-07, -2.457345e-06, 1.419543e-05, 0, 0, 0},
			},
			logViscosity: surface{
				{-6.319551, 2.881296, 0.8374394, -19.29626, -13.10981, 252.8586},
				{-0.02410848, -0.01593008, -0.006961209, -0.06322254, -0.2651482, 0},
				{0.0001764482, 0.0001708786, -0.0004014337, -0.00024771, 0, 0},
				{-1.315418e-06, -1.745316e-06, 9.973464e-06, 0, 0, 0},
			},
			freezing:            [6]float64{5.534468, -0.3574293, -0.6535113, -0.9039166, 1.048048, 4.622116},
			freezingIsLogarithm: true,
		},
		ByMass: {
			source: "Melinder 2010", baseK: 304.878, base: 0.308462, minimumPct: 0, maximumPct: 60,
			densityKgM3: surface{
				{1034.0, 131.1, 0.749, -106.2, -96.23, 489.1},
				{-0.4781, -0.6876, 0.7855, 1.229, -7.211, 0},
				{-0.002692, 0.004805, -0.003995, -0.01153, 0, 0},
				{4.725e-06, 1.69e-06, 4.982e-05, 0, 0, 0},
			},
			heatCapacityJKgK: surface{
				{3737.0, -1799.0, -993.3, 2610.0, 1537.0, -16180.0},
				{2.93, 10.46, 3.516, -1.189, -42.72, 0},
				{-0.004675, -0.04147, 0.05109, -0.1643, 0, 0},
				{-1.389e-05, 1.847e-05, -0.0007138, 0, 0, 0},
			},
			logViscosity: surface{
				{-6.437255, 2.471, 0.03328, 1.659, 3.089, -18.65},
				{-0.0255, -0.01171, 0.01086, 0.003157, 0.01831, 0},
				{0.0001782, 0.0001052, 0.0001051, 0.0004063, 0, 0},
				{-7.669e-07, -1.634e-06, -6.475e-06, 0, 0, 0},
			},
			freezing: [6]float64{257.9, -80.8, -133.4, -72.93, 100.6, 11.4},
		},
	},
}
