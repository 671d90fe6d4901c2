package plot

import (
	"math"
	"math/rand/v2"
	"sort"
	"testing"
)

// Labels never overlap, keep the order of what they name, stay within bounds
// while they fit, and do not move where nothing is in the way.
func TestSpread(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	for range 3000 {
		labels := make([]label, 1+random.IntN(14))
		for i := range labels {
			labels[i].want = 20 + 260*random.Float64()
			if i > 0 && random.IntN(3) == 0 {
				labels[i].want = labels[i-1].want
			}
		}
		spread(labels, 10, 300)
		sort.SliceStable(labels, func(i, j int) bool { return labels[i].y < labels[j].y })
		alone := true
		for i, l := range labels {
			if l.y < 10-1e-9 || l.y > 300+1e-9 {
				t.Fatalf("label at %g outside 10 … 300: %+v", l.y, labels)
			}
			if i > 0 {
				if l.y-labels[i-1].y < lineHeight-1e-9 {
					t.Fatalf("labels overlap: %+v", labels)
				}
				if l.want < labels[i-1].want {
					t.Fatalf("labels change places: %+v", labels)
				}
				alone = alone && l.want-labels[i-1].want >= lineHeight
			}
		}
		for _, l := range labels {
			if alone && math.Abs(l.y-l.want) > 1e-9 {
				t.Fatalf("label moved without need: %+v", labels)
			}
		}
	}
}
