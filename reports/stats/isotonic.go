package stats

// isotonic returns the non-decreasing f that minimises Σ w_i (y_i − f_i)², by
// pooling adjacent violators: where a value falls, it and its neighbours take
// their weighted mean until nothing falls. Weights must be above 0.
//
// Source: Ayer M, Brunk HD, Ewing GM, Reid WT, Silverman E (1955) Ann Math
// Stat 26:641–647; Robertson T, Wright FT, Dykstra RL (1988) Order Restricted
// Statistical Inference, Wiley, section 1.2.
func isotonic(y, w []float64) []float64 {
	type block struct {
		mean, weight float64
		n            int
	}
	blocks := make([]block, 0, len(y))
	for i := range y {
		b := block{y[i], w[i], 1}
		for len(blocks) > 0 && blocks[len(blocks)-1].mean >= b.mean {
			last := blocks[len(blocks)-1]
			blocks = blocks[:len(blocks)-1]
			sum := last.weight + b.weight
			b = block{(last.mean*last.weight + b.mean*b.weight) / sum, sum, last.n + b.n}
		}
		blocks = append(blocks, b)
	}
	f := make([]float64, 0, len(y))
	for _, b := range blocks {
		for range b.n {
			f = append(f, b.mean)
		}
	}
	return f
}
