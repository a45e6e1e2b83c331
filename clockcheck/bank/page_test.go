package bank

import "testing"

// A lone receiver, cold, from which a page of leap-second data did not come; then its cable is pulled, it starts cold again,
// and the next page does not come either. One cause does both, for what delays a firmware's first page lasts: two pages say
// no more than they would in a row, and it may lead by 5 s yet.
func TestAMissedPageLastsOverACable(t *testing.T) {
	for _, pulled := range []bool{false, true} {
		b := newBank()
		at := second
		for round := range 2 {
			if round == 0 || pulled {
				b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
			}
			for range 8 {
				b.Hear(look(at, 999.8, 0.003))
				at += 10 * second
			}
			b.Page(9)
		}
		if lo, _ := span(b); lo > 995 {
			t.Errorf("the cable was pulled: %v; UTC is %.3f s or later, and it may be 995", pulled, lo)
		}
	}
}
