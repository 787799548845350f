package fleet

import "unsafe"

// Failing reports whether the database couldn't be followed at the last try.
func (c *Copy) Failing() bool { return c.failure.Load() != nil }

// Followed returns how many pairs were read again because something of theirs
// changed.
func (c *Copy) Followed() int64 { return c.followed.Load() }

// ColumnBytes is what one column of the copy takes.
type ColumnBytes struct {
	Name  string
	Bytes int
}

// Columns returns what each column of the view takes, in the order of the
// columns; what rows take that wait to be sealed, and what isn't by rows: the
// runners' keys, the intervals of life, and the sets of findings and of unread
// checks.
func (v *View) Columns() []ColumnBytes {
	var all []ColumnBytes
	add := func(name string, bytes int) {
		for i := range all {
			if all[i].Name == name {
				all[i].Bytes += bytes
				return
			}
		}
		all = append(all, ColumnBytes{name, bytes})
	}
	for _, s := range v.segments {
		add("kind, gait, patterns and the like", 2*(cap(s.what[0])+cap(s.what[1])))
		add("store", 2*cap(s.store))
		add("model", 2*(cap(s.models)+cap(s.ends)))
		add("pair, 16 of 40 bits", 2*cap(s.pairLow))
		for _, p := range s.packed() {
			add(p.name, p.bytes())
		}
		add("struck out", 8*cap(s.struck))
		add("rows to be sealed", int(unsafe.Sizeof(row{}))*cap(s.rows))
		add("segments", int(unsafe.Sizeof(*s)))
	}
	add("runners' keys", v.runnerBytes)
	add("intervals of life", v.intervalBytes)
	add("sets", int(unsafe.Sizeof(finding{}))*cap(v.findings)+4*cap(v.unread))
	return all
}

// Bytes returns what the columns of the view take; see [View.Columns].
func (v *View) Bytes() (n int) {
	for _, c := range v.Columns() {
		n += c.Bytes
	}
	return n
}
