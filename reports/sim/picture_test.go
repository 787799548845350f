package sim

import (
	"math"
	"testing"

	"solewright/assess"
)

// A drawn photo shows the tilt that it was drawn with: the engine measures it on
// the points that come with it.
func TestBackViewShowsTheTiltItWasDrawnWith(t *testing.T) {
	for _, foot := range []assess.Foot{assess.Left, assess.Right} {
		for _, tilt := range []float64{-6.5, 0, 4.2} {
			picture, p := BackView(foot, tilt)
			if len(p) != 8 {
				t.Fatalf("%d numbers, want those of four points", len(p))
			}
			at := func(i int) assess.Point {
				return assess.Point{X: p[2*i] * pictureWidth, Y: p[2*i+1] * pictureHeight}
			}
			photo := assess.TiltPhoto{Foot: foot, Table: [2]assess.Point{at(0), at(1)}, Counter: [2]assess.Point{at(2), at(3)}}
			got, err := photo.Measure()
			if err != nil {
				t.Fatal(err)
			}
			if v := float64(got.Tilt.Int()) / 100; math.Abs(v-tilt) > 0.01 {
				t.Errorf("%v %v° measures %v°", foot, tilt, v)
			}
			// The collar is part of the shoe and not of the wall.
			r, _, b, _ := picture.At(int(at(2).X), int(at(2).Y)).RGBA()
			if r > b {
				t.Errorf("%v %v°: the collar's point lies beside the shoe", foot, tilt)
			}
		}
	}
}
