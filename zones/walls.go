package zones

func newPens(rooms []room) ([]pen, error) {
	var out []pen
	for _, r := range rooms {
		out = append(out, pen{slabs: []slab{{r.floor, r.ceiling, r.area}}, zones: []room{r}, lo: r.area.lo, hi: r.area.hi})
	}
	return out, nil
}
