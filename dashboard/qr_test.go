package dashboard

import (
	"encoding/xml"
	"fmt"
	"strings"
	"testing"
)

func TestQRHasFinderPatternsAndQuietZone(t *testing.T) {
	svg, err := drawQR("7K3M9QTDS")
	if err != nil {
		t.Fatal(err)
	}
	var doc struct {
		ViewBox string `xml:"viewBox,attr"`
		Path    []struct {
			D string `xml:"d,attr"`
		} `xml:"path"`
	}
	if err := xml.Unmarshal(svg, &doc); err != nil {
		t.Fatal(err)
	}
	// Version 1 has 21 modules a side and takes 20 alphanumeric characters at
	// level M: ISO/IEC 18004, table 7. With four light modules around: 29.
	if doc.ViewBox != "0 0 29 29" {
		t.Errorf("view box %s, want version 1 with its quiet zone", doc.ViewBox)
	}
	dark := map[[2]int]bool{}
	for _, m := range strings.Split(strings.TrimSuffix(doc.Path[1].D, "z"), "z") {
		var x, y int
		if _, err := fmt.Sscanf(m, "M%d %dh1v1h-1", &x, &y); err != nil {
			t.Fatalf("module %q: %v", m, err)
		}
		dark[[2]int{x, y}] = true
	}
	// The finder pattern: a 3 × 3 block in a light ring in a 7 × 7 dark ring
	// (ISO/IEC 18004, 6.3.3), in three corners.
	for _, corner := range [][2]int{{4, 4}, {18, 4}, {4, 18}} {
		for y := range 7 {
			for x := range 7 {
				ring := max(x-3, 3-x, y-3, 3-y)
				if want := ring != 2; dark[[2]int{corner[0] + x, corner[1] + y}] != want {
					t.Fatalf("finder pattern at %v: module %d,%d dark = %v", corner, x, y, !want)
				}
			}
		}
	}
	for at := range dark {
		if min(at[0], at[1]) < quietZone || max(at[0], at[1]) >= 21+quietZone {
			t.Errorf("module %v lies in the quiet zone", at)
		}
	}
}
