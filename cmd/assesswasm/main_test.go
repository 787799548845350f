//go:build js && wasm

package main

import (
	"strings"
	"syscall/js"
	"testing"

	"solewright/assess"
)

func TestAnswer(t *testing.T) {
	judge := answer(assess.JudgeJSON)
	for _, tt := range []struct {
		name string
		args []any
		want string
	}{
		{"a question is answered", []any{`{"reading":{"left":{"heel_medial":4}}}`}, `{"verdict":"replace",`},
		{"text beyond ASCII passes", []any{`{"reading":{"note":"é 👟","left":{"bond":"parted"}}}`}, `{"verdict":"replace",`},
		{"no question is an error", nil, `{"errors":[{"pointer":"",`},
		{"a question that is no text is an error", []any{7}, `{"errors":[{"pointer":"",`},
		{"what was asked is pointed at", []any{`{"reading":{"left":{"heel_medial":9}}}`}, `{"errors":[{"pointer":"/reading/left/heel_medial",`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := judge.Invoke(tt.args...)
			if got.Type() != js.TypeString || !strings.HasPrefix(got.String(), tt.want) {
				t.Errorf("answer %s, want %s…", got, tt.want)
			}
		})
	}
}
