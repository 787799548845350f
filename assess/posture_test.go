package assess

import (
	"errors"
	"strings"
	"testing"
)

func TestPostureBands(t *testing.T) {
	words := map[string]string{"normal": "neutral"} // the manual's word for it
	seen := 0
	for _, row := range sheet(t, "fpi6_bands.csv") {
		if row["scheme"] != "manual 2005" {
			continue
		}
		want := row["band"]
		if w, ok := words[want]; ok {
			want = w
		}
		for sum := int(number(t, row, "low")); sum <= int(number(t, row, "high")); sum++ {
			seen++
			if got := CurrentPostureBands().Band(Of(sum)); !got.OK() || GaitWords[got.Int()] != want {
				t.Errorf("%d is in band %v, want %s (%s)", sum, got, want, row["status"])
			}
		}
	}
	if seen != MaxPosture-MinPosture+1 {
		t.Errorf("the bands cover %d sums", seen)
	}
	for _, sum := range []Value{Unread, CantWet, Of(-13), Of(13)} {
		if got := CurrentPostureBands().Band(sum); got != Unread {
			t.Errorf("%v is in band %v", sum, got)
		}
	}
}

func TestPostureTableIsOrdered(t *testing.T) {
	for i, b := range PostureTable {
		if b.Version != i+1 || b.Source == "" || b.Low[0] != MinPosture {
			t.Errorf("row %d: %+v", i, b)
		}
		for k := 1; k < len(b.Low); k++ {
			if b.Low[k] <= b.Low[k-1] {
				t.Errorf("version %d: bands %v", b.Version, b.Low)
			}
		}
	}
	if len(CurrentPostureBands().Low) != len(GaitWords) || strings.Contains(CurrentPostureBands().Source, "memory") {
		t.Error("the bands in use don't match the words, or have no source")
	}
}

func TestPostureSum(t *testing.T) {
	for _, tt := range []struct {
		name  string
		items [PostureItems]Value
		want  Value
	}{
		{"all at the end", [6]Value{Of(2), Of(2), Of(2), Of(2), Of(2), Of(2)}, Of(12)},
		{"a mixed foot", [6]Value{Of(-2), Of(1), Of(0), Of(2), Of(-1), Of(1)}, Of(1)},
		{"an item that can't be judged", [6]Value{Of(2), Of(2), Of(2), CantOther, Of(2), Of(2)}, Unread},
		{"an unread item", [6]Value{Of(2), Of(2), Of(2), Of(2), Of(2)}, Unread},
		{"nothing", [6]Value{}, Unread},
		{"zeros are a sum", [6]Value{Of(0), Of(0), Of(0), Of(0), Of(0), Of(0)}, Of(0)},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if got := PostureSum(tt.items); got != tt.want {
				t.Errorf("%v, want %v", got, tt.want)
			}
		})
	}
}

// The lowest and the highest sum are those of six items from −2 to +2.
// Source: Redmond, Crosbie & Ouvrier, Clin Biomech 2006;21:89–98.
func TestPostureBandsThatLeaveASumOutAreRefused(t *testing.T) {
	for _, tt := range []struct {
		name  string
		low   [5]int
		wrong string // the field, empty where all is well
	}{
		{"the bands of the program", CurrentPostureBands().Low, ""},
		{"each band of one sum but the last", [5]int{-12, -11, -10, -9, -8}, ""},
		{"the last band at the highest sum", [5]int{-12, 0, 1, 2, 12}, ""},
		{"a first band that begins too late", [5]int{-11, -4, 0, 6, 10}, "low-0"},
		{"two bands that begin alike", [5]int{-12, -4, -4, 6, 10}, "low-2"},
		{"bands the wrong way round", [5]int{-12, 0, -4, 6, 10}, "low-2"},
		{"a band beyond every sum", [5]int{-12, -4, 0, 6, 13}, "low-4"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			bands := PostureBands{Low: tt.low}
			err := bands.Check()
			if errs, ok := errors.AsType[FieldErrors](err); ok != (tt.wrong != "") || ok && (len(errs) != 1 || errs[0].Field != tt.wrong) {
				t.Errorf("%v: %v, want it at %q", tt.low, err, tt.wrong)
			}
		})
	}
}
