package fleet

// Failing reports whether the database couldn't be followed at the last try.
func (c *Copy) Failing() bool { return c.failure.Load() != nil }

// Followed returns how many pairs were read again because something of theirs
// changed.
func (c *Copy) Followed() int64 { return c.followed.Load() }

// Bytes returns what the columns of the view and the keys of runners take.
func (v *View) Bytes() int {
	n := 8 * cap(v.runners)
	for _, s := range v.segments {
		n += 8 * cap(s.struck)
		for _, column := range s.columns() {
			n += column.bytes()
		}
	}
	return n
}
