package circuit

import "math"

// copper is the temperature coefficient of resistance of annealed copper, per
// degree from 20 degrees Celsius (IEC 60028; the figure HyperPhysics tabulates).
const copper = 0.00393

// sizes are the largest resistances of flexible copper conductors at 20 degrees
// Celsius, ohms per kilometre by cross-section in square millimetres (IEC 60228,
// class 5, plain).
var sizes = []struct{ area, ohms float64 }{
	{0.5, 39.0}, {0.75, 26.0}, {1, 19.5}, {1.5, 13.3}, {2.5, 7.98}, {4, 4.95}, {6, 3.30}, {10, 1.91}, {16, 1.21}, {25, 0.780},
}

// OhmsPerMetre is the resistance of a metre of copper wire of the cross-section in
// square millimetres at the temperature in degrees Celsius: of a size that IEC
// 60228 lists as much as it allows, of another by the resistivity of the nearest
// that it lists.
func OhmsPerMetre(area, celsius float64) float64 {
	near := sizes[0]
	for _, s := range sizes {
		if math.Abs(math.Log(s.area/area)) < math.Abs(math.Log(near.area/area)) {
			near = s
		}
	}
	return near.ohms * near.area / area / 1000 * (1 + copper*(celsius-20))
}

// GaugeArea is the cross-section in square millimetres of a wire of the American
// gauge n; 0000 is -3. The diameter is 0.127 mm times 92 to the (36-n)/39 (ASTM
// B258).
func GaugeArea(n int) float64 {
	d := 0.127 * math.Pow(92, float64(36-n)/39)
	return math.Pi / 4 * d * d
}

// Wire spans the resistance of a wire by length in metres and cross-section in
// square millimetres; 0: not known. Strands, temperatures from -20 to 100 degrees
// and lengths guessed by eye are within it.
func Wire(length, area float64) Span {
	long, thick := Span{length * 0.8, length * 1.25}, Span{area, area}
	if length <= 0 {
		long = Span{0.1, 6} // assumed: within one vehicle
	}
	if area <= 0 {
		thick = Span{0.5, 25} // assumed: signal wires to battery cables
	}
	return Span{long.Lo * OhmsPerMetre(thick.Hi, -20) * 0.9, long.Hi * OhmsPerMetre(thick.Lo, 100)}
}
