package verdict

import (
	"math"
	"testing"
)

func TestExpDown(t *testing.T) {
	for x := -700.0; x <= 0; x += 0.00317 {
		if got, want := expDown(x), math.Exp(x); math.Abs(got/want-1) > 4e-11 {
			t.Fatalf("expDown(%g) is %g, expected %g", x, got, want)
		}
	}
	if expDown(0) != 1 {
		t.Errorf("expDown(0) is %g", expDown(0))
	}
}

func TestLogUp(t *testing.T) {
	for x := 1e-300; x < 1e30; x *= 1.00317 {
		if got, want := logUp(x), math.Log(x); math.Abs(got-want) > 1e-10 {
			t.Fatalf("logUp(%g) is %g, expected %g", x, got, want)
		}
	}
	for x := 0.5; x < 2; x += 0.000317 {
		if got, want := logUp(x), math.Log(x); math.Abs(got-want) > 6e-11 {
			t.Fatalf("logUp(%g) is %g, expected %g", x, got, want)
		}
	}
}

func BenchmarkLogUp(b *testing.B) {
	var sum float64
	b.Run("math", func(b *testing.B) {
		for i := range b.N {
			sum += math.Log(float64(i&63) + 0.61)
		}
	})
	b.Run("up", func(b *testing.B) {
		for i := range b.N {
			sum += logUp(float64(i&63) + 0.61)
		}
	})
	if sum < 0 {
		b.Fatal(sum)
	}
}

func BenchmarkExpDown(b *testing.B) {
	var sum float64
	b.Run("math", func(b *testing.B) {
		for i := range b.N {
			sum += math.Exp(-float64(i&63) * 0.61)
		}
	})
	b.Run("down", func(b *testing.B) {
		for i := range b.N {
			sum += expDown(-float64(i&63) * 0.61)
		}
	})
	if sum < 0 {
		b.Fatal(sum)
	}
}
