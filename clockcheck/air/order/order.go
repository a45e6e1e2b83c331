// Package order finds middle values without sorting. It is pure.
package order

// Middle is the element that would stand at len/2 if x were sorted; it changes the order of x, which must
// hold at least one number.
// Source: Hoare's selection, as in Knuth, The Art of Computer Programming, vol. 3, 5.2.2.
func Middle[T float32 | float64](x []T) T {
	lo, hi, k := 0, len(x)-1, len(x)/2
	for lo < hi {
		pivot, i, j := x[(lo+hi)/2], lo, hi
		for i <= j {
			for x[i] < pivot {
				i++
			}
			for x[j] > pivot {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i, j = i+1, j-1
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return x[k]
		}
	}
	return x[k]
}
