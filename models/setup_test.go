package models_test

import (
	"errors"
	"testing"

	"solewright/assess"
)

// wantField fails unless err names a field as wrong.
func wantField(t *testing.T, err error, field string) {
	t.Helper()
	f, ok := errors.AsType[assess.FieldError](err)
	if !ok || f.Field != field {
		t.Errorf("got %v, want an error that names %s", err, field)
	}
}

// wantErr fails unless err is want.
func wantErr(t *testing.T, err, want error) {
	t.Helper()
	if !errors.Is(err, want) {
		t.Errorf("got %v, want %v", err, want)
	}
}

// asFields returns the first field that an error names.
func asFields(err error) (string, bool) {
	if f, ok := errors.AsType[assess.FieldError](err); ok {
		return f.Field, true
	}
	return "", false
}
