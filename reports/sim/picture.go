package sim

import (
	"image"
	"image/color"
	"image/draw"
	"math"

	"golang.org/x/image/vector"

	"solewright/assess"
)

// The size of a drawn photo, and where the table's edge lies in it, in pixels.
const (
	pictureWidth, pictureHeight = 800, 600
	tableEdge                   = 480
)

// BackView draws a shoe of nobody as a photo from behind would show it: on a
// table, its counter leaning by tilt degrees, plus to the inner edge. points are
// the four points that a tilt is measured by, both ends of the table line, the
// collar and the midsole, each x and y as parts of width and height.
func BackView(foot assess.Foot, tilt float64) (picture image.Image, points []float64) {
	img := image.NewRGBA(image.Rect(0, 0, pictureWidth, pictureHeight))
	draw.Draw(img, img.Bounds(), image.NewUniform(color.RGBA{214, 216, 209, 255}), image.Point{}, draw.Src)
	draw.Draw(img, image.Rect(0, tableEdge, pictureWidth, pictureHeight), image.NewUniform(color.RGBA{120, 98, 78, 255}), image.Point{}, draw.Src)
	const middle, join, collar = pictureWidth / 2.0, 370.0, 170.0
	// From behind, in is to the right on a left shoe and to the left on a right one.
	lean := tilt * math.Pi / 180
	if foot == assess.Right {
		lean = -lean
	}
	sin, cos := math.Sincos(lean)
	leaning := func(x, y float64) [2]float64 { // about the middle of the join
		x, y = x-middle, y-join
		return [2]float64{middle + x*cos - y*sin, join + x*sin + y*cos}
	}
	paint(img, color.RGBA{45, 48, 52, 255}, [2]float64{middle - 118, tableEdge}, [2]float64{middle - 124, tableEdge - 30}, [2]float64{middle + 124, tableEdge - 30}, [2]float64{middle + 118, tableEdge})
	paint(img, color.RGBA{238, 236, 228, 255}, [2]float64{middle - 126, tableEdge - 30}, [2]float64{middle - 104, join}, [2]float64{middle + 104, join}, [2]float64{middle + 126, tableEdge - 30})
	paint(img, color.RGBA{92, 118, 138, 255}, leaning(middle-100, join), leaning(middle-74, collar), leaning(middle+74, collar), leaning(middle+100, join))
	paint(img, color.RGBA{62, 84, 102, 255}, leaning(middle-74, collar), leaning(middle-58, collar-34), leaning(middle+58, collar-34), leaning(middle+74, collar))
	paint(img, color.RGBA{222, 206, 120, 255}, leaning(middle-7, join-20), leaning(middle-7, collar+20), leaning(middle+7, collar+20), leaning(middle+7, join-20))
	top := leaning(middle, collar)
	return img, []float64{
		0.05, tableEdge / float64(pictureHeight), 0.95, tableEdge / float64(pictureHeight),
		top[0] / pictureWidth, top[1] / pictureHeight, middle / pictureWidth, join / pictureHeight,
	}
}

// paint fills a polygon.
func paint(img draw.Image, c color.Color, corners ...[2]float64) {
	r := vector.NewRasterizer(pictureWidth, pictureHeight)
	r.MoveTo(float32(corners[0][0]), float32(corners[0][1]))
	for _, p := range corners[1:] {
		r.LineTo(float32(p[0]), float32(p[1]))
	}
	r.ClosePath()
	r.Draw(img, img.Bounds(), image.NewUniform(c), image.Point{})
}
