package zones

// New checks shapes and makes a Set of them. The error, if any, is an
// *Invalid with everything that is wrong, and there is no Set then. The shapes
// are copied.
func New(shapes []Shape) (*Set, error) {
	c := checker{}
	clean := c.shapes(shapes)
	if len(c.found) > 0 {
		return nil, &Invalid{Problems: c.found}
	}
	s := &Set{shapes: clean}
	var rooms []room
	for i := range clean {
		z := &clean[i]
		a := newArea(c.solid[i], int32(i))
		if z.Kind == KeepIn {
			rooms = append(rooms, room{floor: z.Floor, ceiling: z.Ceiling, area: a})
		} else {
			s.outs = append(s.outs, keepOut{zone: int32(i), floor: z.Floor, ceiling: z.Ceiling, area: a})
		}
	}
	pens, err := newPens(rooms)
	if err != nil {
		return nil, err
	}
	s.pens = pens
	s.field = newField(s.outs)
	s.layPlats()
	s.measure()
	return s, nil
}
