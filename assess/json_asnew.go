package assess

// asNewFields are the fields of what a shoe model is like out of the box.
var asNewFields = makeAsNewFields()

// asNewObject is its JSON.
var asNewObject = NewObject(asNewFields, nil)

func makeAsNewFields() []Field[AsNew] {
	type model = AsNew
	like := func(name string, c Col, at func(*model) *Value) Field[model] {
		column := Columns[c]
		column.Name, column.Check, column.CantRead = name, false, false
		return ofColumn(&column, at)
	}
	fields := []Field[model]{
		Set("built", zoneNames, func(m *model) *ColSet { return &m.Built }),
		Unless("rigid_counter", func(m *model) *bool { return &m.NoRigidCounter }),
		Flag("plate", func(m *model) *bool { return &m.Plate }),
		Flag("trail", func(m *model) *bool { return &m.Trail }),
		like("tilt", Tilt, func(m *model) *Value { return &m.Tilt }),
		like("lean", Tilt, func(m *model) *Value { return &m.Lean }),
	}
	for p := range NumParts {
		first, _ := p.Zones()
		fields = append(fields, like("depth_"+p.String(), first+DepthOf, func(m *model) *Value { return &m.Depth[p] }))
	}
	return append(fields,
		like("flex", Flex, func(m *model) *Value { return &m.Flex }),
		like("torsion", Torsion, func(m *model) *Value { return &m.Torsion }),
		like("shore", ShoreOutsole, func(m *model) *Value { return &m.Shore }),
		like("asker", AskerMidsole, func(m *model) *Value { return &m.Asker }),
	)
}

// AsNewFields returns the fields of an AsNew, for tables that hold one among
// other columns.
func AsNewFields() []Field[AsNew] { return asNewFields }

// DecodeAsNew reads an AsNew from JSON, as strictly as DecodeJSON: built (the
// zones made without rubber or pattern), rigid_counter, plate and trail (yes or
// no; a counter is rigid unless it is said not to be), tilt and lean in degrees,
// depth_heel, depth_mid, depth_fore and depth_toe in mm, flex and torsion as
// bands, shore and asker.
func DecodeAsNew(text []byte) (AsNew, error) { return asNewObject.Decode(text) }

// AppendAsNew appends m as JSON in canonical form to dst.
func AppendAsNew(dst []byte, m *AsNew) []byte { return asNewObject.Append(dst, m) }
