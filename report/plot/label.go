package plot

import (
	"cmp"
	"slices"
)

// label is a text beside a point that may have to move up or down.
type label struct {
	x, end, want float64
	y            float64 // where it ends up
	text         string
	series       int   // number of the series that ends there
	of           *Mark // that it names
}

// spread sets y of each label as close to want as it can be with lineHeight
// between neighbours, within top … bottom while they fit: labels that would
// overlap form a block, centred on where its members want to be.
func spread(labels []label, top, bottom float64) {
	order := make([]int, len(labels))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(labels[a].want, labels[b].want) })
	type block struct {
		first, n int
		sum      float64 // of want minus offset in the block
	}
	var blocks []block
	start := func(b block) float64 {
		y := b.sum / float64(b.n)
		y = min(y, bottom-float64(b.n-1)*lineHeight)
		return max(y, top)
	}
	for i, at := range order {
		blocks = append(blocks, block{i, 1, labels[at].want})
		for len(blocks) > 1 {
			upper, lower := blocks[len(blocks)-2], blocks[len(blocks)-1]
			if start(upper)+float64(upper.n)*lineHeight <= start(lower) {
				break
			}
			lower.sum -= float64(upper.n*lower.n) * lineHeight
			blocks = append(blocks[:len(blocks)-2], block{upper.first, upper.n + lower.n, upper.sum + lower.sum})
		}
	}
	for _, b := range blocks {
		for k := range b.n {
			labels[order[b.first+k]].y = start(b) + float64(k)*lineHeight
		}
	}
}
