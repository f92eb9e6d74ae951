package detmath

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// The reference: Taylor series in 240-bit arithmetic, after argument reductions that share nothing with the package.

const refBits = 240

func bf(x float64) *big.Float { return new(big.Float).SetPrec(refBits).SetFloat64(x) }

func add(a, b *big.Float) *big.Float { return new(big.Float).SetPrec(refBits).Add(a, b) }
func sub(a, b *big.Float) *big.Float { return new(big.Float).SetPrec(refBits).Sub(a, b) }
func mul(a, b *big.Float) *big.Float { return new(big.Float).SetPrec(refBits).Mul(a, b) }
func quo(a, b *big.Float) *big.Float { return new(big.Float).SetPrec(refBits).Quo(a, b) }
func root(a *big.Float) *big.Float   { return new(big.Float).SetPrec(refBits).Sqrt(a) }

// Pi to 80 decimals, OEIS A000796.
var refPi = func() *big.Float {
	p, _, err := big.ParseFloat("3.14159265358979323846264338327950288419716939937510582097494459230781640628620899", 10, refBits, big.ToNearestEven)
	if err != nil {
		panic(err)
	}
	return p
}()

func refExp(x *big.Float) *big.Float {
	r := quo(x, bf(1<<20)) // squared back 20 times: costs 20 of the bits
	sum, term := bf(1), bf(1)
	for k := 1; k < 20; k++ {
		term = quo(mul(term, r), bf(float64(k)))
		sum = add(sum, term)
	}
	for range 20 {
		sum = mul(sum, sum)
	}
	return sum
}

func refLog(x *big.Float) *big.Float {
	f, _ := x.Float64()
	y := bf(math.Log(f))
	for range 3 { // Newton on exp doubles the digits each time
		e := refExp(y)
		y = add(y, mul(bf(2), quo(sub(x, e), add(x, e))))
	}
	return y
}

func refSincos(x float64) (s, c *big.Float) {
	r := bf(x)
	turns, _ := quo(r, mul(refPi, bf(2))).Int(nil)
	r = sub(r, mul(mul(refPi, bf(2)), new(big.Float).SetPrec(refBits).SetInt(turns)))
	s, c = bf(0), bf(0)
	term := bf(1)
	for k := 0; k < 80; k++ {
		switch k % 4 {
		case 0:
			c = add(c, term)
		case 1:
			s = add(s, term)
		case 2:
			c = sub(c, term)
		case 3:
			s = sub(s, term)
		}
		term = quo(mul(term, r), bf(float64(k+1)))
	}
	return s, c
}

func refAtan(x *big.Float) *big.Float {
	halvings := 0
	for x.Cmp(bf(0.01)) > 0 || x.Cmp(bf(-0.01)) < 0 {
		x = quo(x, add(bf(1), root(add(bf(1), mul(x, x)))))
		halvings++
	}
	sum, term, xx := bf(0), x, mul(x, x)
	for k := 1; k < 70; k += 2 {
		if k%4 == 1 {
			sum = add(sum, quo(term, bf(float64(k))))
		} else {
			sum = sub(sum, quo(term, bf(float64(k))))
		}
		term = mul(term, xx)
	}
	return mul(sum, bf(math.Ldexp(1, halvings)))
}

func refAtan2(y, x *big.Float) *big.Float {
	switch {
	case x.Sign() > 0:
		return refAtan(quo(y, x))
	case x.Sign() < 0 && y.Sign() >= 0:
		return add(refAtan(quo(y, x)), refPi)
	case x.Sign() < 0:
		return sub(refAtan(quo(y, x)), refPi)
	case y.Sign() > 0:
		return quo(refPi, bf(2))
	}
	return quo(refPi, bf(-2))
}

// ulps is the error of got in units of its reference's last place.
func ulps(got float64, want *big.Float) float64 {
	w, _ := want.Float64()
	unit := math.Nextafter(math.Abs(w), math.Inf(1)) - math.Abs(w)
	d, _ := sub(bf(got), want).Float64()
	return math.Abs(d) / unit
}

func TestErrorBounds(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(7, 11))
	uniform := func(lo, hi float64) func() float64 { return func() float64 { return lo + (hi-lo)*rng.Float64() } }
	scales := func(lo, hi float64) func() float64 {
		return func() float64 { return math.Ldexp(0.5+rng.Float64()/2, int(lo+(hi-lo)*rng.Float64())) }
	}
	signed := func(f func() float64) func() float64 {
		return func() float64 { return math.Copysign(f(), rng.Float64()-0.5) }
	}
	one := bf(1)
	rows := []struct {
		name  string
		bound float64
		draw  func() float64
		got   func(float64) float64
		want  func(float64) *big.Float
	}{
		{"sin", 2, uniform(-10, 10), Sin, func(x float64) *big.Float { s, _ := refSincos(x); return s }},
		{"sin of large", 2, uniform(-1e6, 1e6), Sin, func(x float64) *big.Float { s, _ := refSincos(x); return s }},
		{"sin of larger", 2, signed(scales(21, 60)), Sin, func(x float64) *big.Float { s, _ := refSincos(x); return s }},
		{"sin near multiples of pi", 2, func() float64 { return math.Pi * float64(rng.IntN(100000)) }, Sin, func(x float64) *big.Float { s, _ := refSincos(x); return s }},
		{"cos", 2, uniform(-10, 10), Cos, func(x float64) *big.Float { _, c := refSincos(x); return c }},
		{"cos of large", 2, uniform(-1e6, 1e6), Cos, func(x float64) *big.Float { _, c := refSincos(x); return c }},
		{"tan", 4, uniform(-10, 10), Tan, func(x float64) *big.Float { s, c := refSincos(x); return quo(s, c) }},
		{"atan", 2, uniform(-2, 2), Atan, func(x float64) *big.Float { return refAtan(bf(x)) }},
		{"atan of all sizes", 2, signed(scales(-40, 40)), Atan, func(x float64) *big.Float { return refAtan(bf(x)) }},
		{"asin", 3, uniform(-1, 1), Asin, func(x float64) *big.Float { return refAtan2(bf(x), root(sub(one, mul(bf(x), bf(x))))) }},
		{"acos", 3, uniform(-1, 1), Acos, func(x float64) *big.Float { return refAtan2(root(sub(one, mul(bf(x), bf(x)))), bf(x)) }},
		{"acos near 1", 3, func() float64 { return 1 - math.Ldexp(rng.Float64(), -rng.IntN(50)) }, Acos, func(x float64) *big.Float { return refAtan2(root(sub(one, mul(bf(x), bf(x)))), bf(x)) }},
		{"exp", 2, uniform(-20, 20), Exp, func(x float64) *big.Float { return refExp(bf(x)) }},
		{"exp of all sizes", 2, uniform(-700, 709), Exp, func(x float64) *big.Float { return refExp(bf(x)) }},
		{"log", 2, uniform(0, 10), Log, func(x float64) *big.Float { return refLog(bf(x)) }},
		{"log near 1", 2, func() float64 { return 1 + signed(scales(-50, -1))() }, Log, func(x float64) *big.Float { return refLog(bf(x)) }},
		{"log of all sizes", 2, scales(-1000, 1000), Log, func(x float64) *big.Float { return refLog(bf(x)) }},
		{"pow 2.4", 16, uniform(0, 2), func(x float64) float64 { return Pow(x, 2.4) }, func(x float64) *big.Float { return refExp(mul(bf(2.4), refLog(bf(x)))) }},
		{"hypot", 2, scales(-1000, 1000), func(x float64) float64 { return Hypot(x, 0.3*x) }, func(x float64) *big.Float {
			y := bf(0.3 * x)
			return root(add(mul(bf(x), bf(x)), mul(y, y)))
		}},
	}
	for _, row := range rows {
		worst, at := 0.0, 0.0
		for range 2000 {
			x := row.draw()
			if e := ulps(row.got(x), row.want(x)); !(e <= worst) {
				worst, at = e, x
			}
		}
		t.Logf("%-26s %.3f ulp, at %v", row.name, worst, at)
		require.LessOrEqual(t, worst, row.bound, "%s at %v", row.name, at)
	}
}

func TestTwoArguments(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(3, 4))
	for range 3000 {
		x, y := math.Ldexp(rng.Float64()-0.5, rng.IntN(40)-20), math.Ldexp(rng.Float64()-0.5, rng.IntN(40)-20)
		require.LessOrEqual(t, ulps(Atan2(y, x), refAtan2(bf(y), bf(x))), 2.0, "atan2(%v, %v)", y, x)
		p, e := math.Abs(x), rng.Float64()*8-4
		bound := 3 + 2*math.Abs(e*math.Log(p))
		require.LessOrEqual(t, ulps(Pow(p, e), refExp(mul(bf(e), refLog(bf(p))))), bound, "pow(%v, %v)", p, e)
		c := Cbrt(x)
		// Between the cubes of its neighbours two steps away.
		n := func(v float64, dir float64) *big.Float {
			w := math.Nextafter(math.Nextafter(v, dir), dir)
			return mul(bf(w), mul(bf(w), bf(w)))
		}
		require.Negative(t, n(c, math.Inf(-1)).Cmp(bf(x)), "cbrt(%v)", x)
		require.Positive(t, n(c, math.Inf(1)).Cmp(bf(x)), "cbrt(%v)", x)
	}
}

// TestSpecialValues compares zeros, infinities and NaN with the standard library, whose answers there are exact.
func TestSpecialValues(t *testing.T) {
	t.Parallel()
	odd := []float64{0, math.Copysign(0, -1), 1, -1, math.Inf(1), math.Inf(-1), math.NaN(), 5e-324, -5e-324}
	same := func(name string, got, want float64) {
		t.Helper()
		if math.IsNaN(want) {
			require.True(t, math.IsNaN(got), "%s: got %v, want NaN", name, got)
			return
		}
		require.Equal(t, math.Signbit(want), math.Signbit(got), "%s: sign of %v, want %v", name, got, want)
		if want == 0 || math.IsInf(want, 0) {
			require.Equal(t, want, got, name)
			return
		}
		require.InEpsilon(t, want, got, 1e-15, name)
	}
	for _, x := range odd {
		same("sin", Sin(x), math.Sin(x))
		same("cos", Cos(x), math.Cos(x))
		same("tan", Tan(x), math.Tan(x))
		same("atan", Atan(x), math.Atan(x))
		same("asin", Asin(x), math.Asin(x))
		same("acos", Acos(x), math.Acos(x))
		same("exp", Exp(x), math.Exp(x))
		if math.Abs(x) != 5e-324 { // math.Log is wrong for subnormal numbers on amd64 (Go 1.26)
			same("log", Log(x), math.Log(x))
		}
		same("cbrt", Cbrt(x), math.Cbrt(x))
		for _, y := range odd {
			same("atan2", Atan2(y, x), math.Atan2(y, x))
			same("hypot", Hypot(y, x), math.Hypot(y, x))
		}
	}
	require.InEpsilon(t, -1074*math.Ln2, Log(5e-324), 1e-15)
	require.True(t, math.IsNaN(Log(-5e-324)))
	require.True(t, math.IsInf(Exp(1000), 1))
	require.Zero(t, Exp(-1000))
	require.Equal(t, 1.0, Exp(0))
	require.Equal(t, math.Pi, Acos(-1))
	require.Equal(t, math.Pi/2, Asin(1))
	require.Equal(t, 1.0, Pow(0, 0))
	require.True(t, math.IsNaN(Pow(-1, 2)))
	require.Zero(t, Pow(0, 2))
}

// TestSameBits holds the results of fixed inputs to one digest on every processor: run on arm64 and at every GOAMD64.
func TestSameBits(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(1, 1))
	h := sha256.New()
	put := func(v ...float64) {
		for _, x := range v {
			var b [8]byte
			binary.LittleEndian.PutUint64(b[:], math.Float64bits(x))
			h.Write(b[:])
		}
	}
	for range 20000 {
		x, y := rng.Float64()*8-4, rng.Float64()*8-4
		u := rng.Float64()*2 - 1
		put(Sin(x), Cos(x), Tan(x), Sin(1e5*x), Atan(x), Atan2(x, y), Asin(u), Acos(u), Exp(x), Log(math.Abs(x)),
			Pow(math.Abs(x), y), Hypot(x, y), Cbrt(x))
	}
	require.Equal(t, sameBits, hex.EncodeToString(h.Sum(nil)))
}

const sameBits = "a841ae841797c850e9df1d34e45a6d37f786328d3931ab9d36fe45297bbb825d"

func BenchmarkFunctions(b *testing.B) {
	for _, f := range []struct {
		name string
		f    func(float64) float64
	}{{"sin", Sin}, {"cos", Cos}, {"atan", Atan}, {"acos", Acos}, {"exp", Exp}, {"log", Log}} {
		b.Run(f.name, func(b *testing.B) {
			x, sum := 0.1, 0.0
			for b.Loop() {
				sum += f.f(x)
				if x += 0.001; x > 0.9 {
					x = 0.1
				}
			}
			if math.IsNaN(sum) {
				b.Fatal("not a number")
			}
		})
	}
}
