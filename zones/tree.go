package zones

// scanMax is the number of pieces up to which a scan beats the index.
const scanMax = 1 << 30

type tree struct{}

func newTree(s []seg) *tree                         { return nil }
func (t *tree) locate(p *polygon, x, y float64) int { return 0 }
func (t *tree) nearest(x, y float64, n *near)       {}
func (t *tree) sweep(q *query, b *best)             {}
