package exciter

// Standard annealed copper, IEC 60028 [1].
const (
	// CopperOhmMetre20 is its resistivity at 20 °C: 1/58 ohm mm²/m.
	CopperOhmMetre20 = 1e-6 / 58
	// CopperPerKelvin20 is its temperature coefficient at 20 °C.
	CopperPerKelvin20 = 0.00393
)

// CopperFactor takes the resistance of a copper coil from one temperature to
// another: R(to) = CopperFactor(from, to) R(from), with R(t) proportional to
// 1 + 0.00393 (t - 20), t in °C. It holds within about 0.1 % from -40 °C to
// 100 °C for annealed wire.
func CopperFactor(fromCelsius, toCelsius float64) float64 {
	return copperScale(toCelsius) / copperScale(fromCelsius)
}

func copperScale(celsius float64) float64 { return 1 + CopperPerKelvin20*(celsius-20) }
