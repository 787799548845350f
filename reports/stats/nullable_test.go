package stats

import (
	"encoding/json"
	"math"
	"testing"
)

func TestFloatInJSON(t *testing.T) {
	tests := []struct {
		name string
		in   Float
		want string
	}{
		{"a number is a number", Some(0.25), "0.25"},
		{"zero is a number, not null", Some(0), "0"},
		{"the zero Float is null", Float{}, "null"},
		{"None is null", None, "null"},
		{"NaN is null", Float{V: math.NaN(), OK: true}, "null"},
		{"infinity is null", Some(math.Inf(1)), "null"},
		{"all digits survive", Some(0.30000000000000004), "0.30000000000000004"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			b, err := json.Marshal(tt.in)
			if err != nil {
				t.Fatal(err)
			}
			if string(b) != tt.want {
				t.Errorf("got %s, want %s", b, tt.want)
			}
			var back Float
			if err := json.Unmarshal(b, &back); err != nil {
				t.Fatal(err)
			}
			if back.OK != (tt.want != "null") || back.OK && back.V != tt.in.V {
				t.Errorf("round trip of %+v gave %+v", tt.in, back)
			}
		})
	}
}
