package pose

// document reads the one value a message is.
func (d *Decoder) document() *Fault {
	if f := d.value(d.root, 0); f != nil {
		return f
	}
	if d.in.next() != blank || d.in.i < len(d.in.b) {
		return &Fault{Kind: NotJSON, Detail: "more after the value: " + d.in.rest()}
	}
	return nil
}

// value reads the value that is next; n is where it stands in the tree of
// pointers, nil where no pointer leads.
func (d *Decoder) value(n *node, depth int) *Fault {
	c := &d.in
	switch ch := c.next(); {
	case ch == '{':
		if f := n.refuse("an object", c); f != nil {
			return f
		}
		return d.object(n, depth+1)
	case ch == '[':
		if f := n.refuse("an array", c); f != nil {
			return f
		}
		return d.array(n, depth+1)
	case ch == '"':
		s, ok := c.str()
		if !ok {
			return d.notJSON("broken string before ")
		}
		return d.text(n, s)
	case ch == '-' || ch-'0' <= 9:
		return d.digits(n)
	}
	return d.word(n)
}

// refuse is the fault of an object or array where a single value should be.
func (n *node) refuse(what string, c *cursor) *Fault {
	if n == nil || n.leaf == noLeaf {
		return nil
	}
	return &Fault{Kind: WrongType, Field: n.pointer, Detail: what + ": " + textDetail(c.b[c.i:])}
}

func (d *Decoder) notJSON(why string) *Fault {
	return &Fault{Kind: NotJSON, Detail: why + d.in.rest()}
}

// object reads an object; the brace is next.
func (d *Decoder) object(n *node, depth int) *Fault {
	c := &d.in
	c.i++
	if depth > MaxDepth {
		return tooDeep()
	}
	if c.take('}') {
		return nil
	}
	for guess := 0; ; {
		if c.next() != '"' {
			return d.notJSON("a key was due at ")
		}
		key, ok := c.str()
		if !ok {
			return d.notJSON("broken key before ")
		}
		var kid *node
		if n != nil {
			kid, guess = n.member(key, guess)
		}
		if !c.take(':') {
			return d.notJSON("a colon was due at ")
		}
		if f := d.enter(kid, depth); f != nil {
			return f
		}
		if c.take(',') {
			continue
		}
		if c.take('}') {
			return nil
		}
		return d.notJSON("a comma or } was due at ")
	}
}

// array reads an array; the bracket is next.
func (d *Decoder) array(n *node, depth int) *Fault {
	c := &d.in
	c.i++
	if depth > MaxDepth {
		return tooDeep()
	}
	if c.take(']') {
		return nil
	}
	for i := 0; ; i++ {
		var kid *node
		if n != nil {
			kid = n.element(i)
		}
		if f := d.enter(kid, depth); f != nil {
			return f
		}
		if c.take(',') {
			continue
		}
		if c.take(']') {
			return nil
		}
		return d.notJSON("a comma or ] was due at ")
	}
}

// enter reads the value of a member or element, and notes that its edge was
// walked: a second time is a duplicate.
func (d *Decoder) enter(kid *node, depth int) *Fault {
	if kid != nil {
		if f := d.walk(kid); f != nil {
			return f
		}
	}
	return d.value(kid, depth)
}

// walk notes that the edge to kid was walked.
func (d *Decoder) walk(kid *node) *Fault {
	if d.seen&(1<<kid.bit) != 0 {
		return &Fault{Kind: Duplicate, Field: kid.pointer, Detail: "stands twice"}
	}
	d.seen |= 1 << kid.bit
	return nil
}

// member is the kid of the given name, or nil. Senders keep the order of their
// keys, so the search begins after the last one found.
func (n *node) member(key []byte, guess int) (*node, int) {
	for i := range n.kids {
		at := guess + i
		if at >= len(n.kids) {
			at -= len(n.kids)
		}
		if k := n.kids[at]; k.key == string(key) {
			return k, at + 1
		}
	}
	return nil, guess
}

// element is the kid of the given array index, or nil.
func (n *node) element(i int) *node {
	for _, k := range n.kids {
		if k.index == i {
			return k
		}
	}
	return nil
}

func tooDeep() *Fault {
	return &Fault{Kind: TooLarge, Detail: "nested too deep"}
}
