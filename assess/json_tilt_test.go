package assess

import (
	"encoding/json"
	"strings"
	"testing"
)

func TestTiltJSON(t *testing.T) {
	const level = `"table":[[0,900],[1000,900]]`
	for _, tt := range []struct{ name, question, want string }{
		// atan(50/300) = 9.4623°; u² = 1 + 0.5567² + (10° × 5°)² with the counter line of √(300² + 50²) px.
		{
			"one photo", `{"shoe":"left","photos":[{` + level + `,"counter":[[650,500],[600,800]]}]}`,
			`{"tilt":9.46,"tilt_u":1.44,"tilt_n":1,"spread":null,"photos":[{"tilt":9.46,"tilt_u":1.44}]}`,
		},
		{
			"the other shoe, and no lean", `{"shoe":"right","lean":0,"photos":[{` + level + `,"counter":[[650,500],[600,800]],"tap":1.5e-3}]}`,
			`{"tilt":-9.46,"tilt_u":1,"tilt_n":1,"spread":null,"photos":[{"tilt":-9.46,"tilt_u":1}]}`,
		},
		{
			"the mean of two", `{"shoe":"left","lean":0,"photos":[{` + level + `,"counter":[[600,500],[600,800]],"tap":0.001},{` + level + `,"counter":[[650,500],[600,800]],"tap":0.001}]}`,
			`{"tilt":4.73,"tilt_u":4.73,"tilt_n":2,"spread":6.69,"photos":[{"tilt":0,"tilt_u":1},{"tilt":9.46,"tilt_u":1}]}`,
		},
		{"no photo, no tilt", `{"shoe":"left","photos":[]}`, `{"tilt":null,"tilt_u":null,"tilt_n":0,"spread":null,"photos":[]}`},
		{
			"a refusal points at the line", `{"shoe":"left","photos":[{` + level + `,"counter":[[600,500],[600,800]]},{"table":[[0,0],[30,0]],"counter":[[600,500],[600,800]]}]}`,
			`{"errors":[{"pointer":"/photos/1/table","value":"30.0 px","message":"\"30.0 px\" out of range, want a line of at least 40 pixels"}]}`,
		},
		{"a point too few", `{"shoe":"left","photos":[{"table":[[0,0]],"counter":[[600,500],[600,800]]}]}`, `"pointer":"/photos/0/table"`},
		{"a point of three", `{"shoe":"left","photos":[{"table":[[0,0,0],[1]],"counter":[[600,500],[600,800]]}]}`, `"pointer":"/photos/0/table"`},
		{"a point that is no array", `{"shoe":"left","photos":[{"table":[0,[1,1]],"counter":[[600,500],[600,800]]}]}`, `"pointer":"/photos/0/table"`},
		{"a number beyond all numbers", `{"shoe":"left","photos":[{` + level + `,"counter":[[1e999,500],[600,800]]}]}`, `"pointer":"/photos/0/counter"`},
		{"points in an object", `{"shoe":"left","photos":[{"table":{},"counter":[[600,500],[600,800]]}]}`, `"pointer":"/photos/0/table"`},
		{"a lean in a string", `{"shoe":"left","lean":"10","photos":[]}`, `"pointer":"/lean"`},
		{"a shoe there isn't", `{"shoe":"pair","photos":[]}`, `"pointer":"/shoe"`},
		{"a photo without points", `{"shoe":"left","photos":[{}]}`, `{"pointer":"/photos/0/table","value":"","message":"missing"}`},
		{"an unknown name", `{"shoe":"left","photos":[],"foot":1}`, `"pointer":"/foot"`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := string(TiltJSON([]byte(tt.question)))
			if !json.Valid([]byte(got)) || !strings.Contains(got, tt.want) {
				t.Errorf("answer %s\nwant %s", got, tt.want)
			}
		})
	}
}
