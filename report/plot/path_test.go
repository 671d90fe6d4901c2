package plot

import (
	"fmt"
	"math"
	"math/rand/v2"
	"regexp"
	"strconv"
	"testing"
)

// decode reads path data of M, l and Z back, independently of how it is
// written (SVG 1.1, 8.3).
func decode(t *testing.T, d string) []point {
	t.Helper()
	var out []point
	var at point
	var numbers []float64
	command := ""
	for _, token := range regexp.MustCompile(`[MlZ]|-?(?:\d+\.\d+|\.\d+|\d+)`).FindAllString(d, -1) {
		switch token {
		case "M", "l", "Z":
			command, numbers = token, nil
			continue
		}
		v, err := strconv.ParseFloat(token, 64)
		if err != nil {
			t.Fatal(err)
		}
		if numbers = append(numbers, v); len(numbers) < 2 {
			continue
		}
		if command == "l" {
			at = point{at.x + numbers[0], at.y + numbers[1]}
		} else {
			at = point{numbers[0], numbers[1]}
		}
		out, numbers = append(out, at), nil
	}
	return out
}

func TestPathDataReadsBack(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	for range 200 {
		points := make([]point, 300)
		for i := range points {
			points[i] = point{1000 * (random.Float64() - 0.5), random.NormFloat64()}
		}
		var p pathData
		p.polyline(points)
		got := decode(t, string(p.b))
		if len(got) != len(points) {
			t.Fatalf("%d points, want %d", len(got), len(points))
		}
		for i, q := range points {
			if math.Abs(q.x-got[i].x) > 0.0501 || math.Abs(q.y-got[i].y) > 0.0501 {
				t.Fatalf("point %d: %v, want %v: rounding adds up", i, got[i], q)
			}
		}
	}
}

// What simplification drops lies within its tolerance of what is drawn.
func TestSimplifiedStaysNear(t *testing.T) {
	var points []point
	for i := range 800 {
		x := float64(i)
		points = append(points, point{x, 200 - 150/math.Hypot(1, (x-500)/12)})
	}
	kept := simplified(points, tolerance)
	if len(kept) > 200 {
		t.Errorf("%d of %d points kept of a smooth curve", len(kept), len(points))
	}
	k := 0
	for _, q := range points {
		for kept[k+1].x < q.x {
			k++
		}
		a, b := kept[k], kept[k+1]
		d := math.Abs((b.x-a.x)*(a.y-q.y)-(a.x-q.x)*(b.y-a.y)) / math.Hypot(b.x-a.x, b.y-a.y)
		if d > tolerance+1e-9 {
			t.Fatalf("point %v is %g px from the line", q, d)
		}
	}
}

func TestStretches(t *testing.T) {
	nan := math.NaN()
	for _, test := range []struct {
		y    []float64
		want string
	}{
		{[]float64{1, 2, 3}, "[3]"}, {[]float64{nan, 2, nan}, "[1]"}, {[]float64{1, nan, nan, 4, 5}, "[1 2]"},
		{[]float64{nan, nan}, "[]"}, {nil, "[]"}, {[]float64{1, math.Inf(1), 3}, "[1 1]"},
	} {
		var points []point
		for i, y := range test.y {
			points = append(points, point{float64(i), y})
		}
		lengths := []int{}
		for _, run := range stretches(points) {
			lengths = append(lengths, len(run))
		}
		if got := fmt.Sprint(lengths); got != test.want {
			t.Errorf("%v: runs of %s, want %s", test.y, got, test.want)
		}
	}
}

func TestColumns(t *testing.T) {
	var c Columns
	x, y := []float64{20, 4371.23456, 19999.96}, []float64{-0.00004, math.NaN(), 12.34567}
	if a, b, again := c.Number(x), c.Number(y), c.Number(x); a != 0 || b != 1 || again != 0 {
		t.Errorf("columns numbered %d, %d, %d; want 0, 1, 0", a, b, again)
	}
	if n := c.Number(nil); n != -1 {
		t.Errorf("nothing has number %d", n)
	}
	if got, want := string(c.JSON()), "[[20,4371,20000],\n[-0.00004,null,12.346]]"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}
